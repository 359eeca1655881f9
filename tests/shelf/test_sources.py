"""What stands behind the pin: currents, followers, open collectors and chips without a diode to their rail."""

from __future__ import annotations

import math

import pytest

from guardcheck.appraisal import Appraisal
from guardcheck.engine import Engine
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN
from tests.events.jobs import SUPPLY, findings, job_text
from tests.pipeline.jobs import finding, line, text
from tests.shelf.appraised import run

LEVELS = 'white = "2.0 V", black = "0.6 V", blank = "0.6 V", sync = "0 V", impedance = "10 ohm"'


def composite(source: str, more: str = "", *, stage: str = "ac-coupled") -> str:
    values = 'capacitor = "470 uF", series = "65 ohm"' if stage == "ac-coupled" else 'series = "65 ohm"'
    return text(
        line(
            names="comp",
            standard="scart-composite",
            source=source,
            source_values=LEVELS + more,
            stage=stage,
            stage_values=values,
        )
    )


def levels(result: Appraisal) -> dict[str, tuple[float | None, str]]:
    return {one.id: (one.value, one.outcome) for one in result.findings if one.rule == "LVL01"}


class TestEncoderPin:
    @pytest.mark.parametrize("sink", ["", ', sink = "0.6 mA"', ', sink = "20 mA"'])
    def test_two_names_for_one_circuit_give_one_verdict(self, engine: Engine, sink: str) -> None:
        """The older names of the pin are the same part: nothing about it may depend on how it is called."""
        first, *others = (
            levels(run(engine, composite(name, sink))) for name in ("encoder-pin", "composite-pin", "follower-pin")
        )
        assert first
        assert others == [first, first]

    def test_a_sink_nobody_declared_proves_no_sync_through_a_capacitor(self, engine: Engine) -> None:
        """Into 150 ohm of series and termination a sink of 0.3 mA pulls 45 mV at most where 0.3 V of sync is wanted."""
        unknown = finding(run(engine, composite("encoder-pin")), "level.sync", "comp")
        assert unknown.outcome == NOT_PROVEN
        weak = finding(run(engine, composite("encoder-pin", ', sink = "0.3 mA"')), "level.sync", "comp")
        assert weak.outcome == DOES_NOT_CONFORM
        strong = finding(run(engine, composite("encoder-pin", ', sink = "60 mA"')), "level.sync", "comp")
        assert strong.outcome == CONFORMS
        assert strong.value == pytest.approx(0.3, abs=2e-3)

    def test_coupled_directly_to_a_load_at_0_v_no_sink_is_needed(self, engine: Engine) -> None:
        """0.6 V behind 150 ohm in all: the load itself pulls down; 0.3 V of sync with any sink."""
        found = finding(run(engine, composite("encoder-pin", stage="series-resistor")), "level.sync", "comp")
        assert found.outcome == CONFORMS
        assert found.value == pytest.approx(0.3, abs=2e-3)


class TestCurrentDac:
    def test_a_second_termination_halves_a_current(self, engine: Engine) -> None:
        """Chipset data sheet 317607-001: 18.67 mA; 1.4 V in 75 ohm, 0.7 V in the double termination."""
        values = 'white = "18.67 mA", compliance = "3 V"'
        alone = text(line(source="current-dac", source_values=values, stage="pass-through", stage_values=""))
        both = text(
            line(
                source="current-dac",
                source_values=values + ', load = "75 ohm"',
                stage="pass-through",
                stage_values="",
            )
        )
        assert finding(run(engine, alone), "level.white").value == pytest.approx(1.4, rel=2e-3)
        result = run(engine, both)
        assert finding(result, "level.white").value == pytest.approx(0.7, rel=2e-3)
        assert finding(result, "response.impedance").value == pytest.approx(75.0, rel=2e-3)

    def test_above_its_compliance_it_gives_no_more(self, engine: Engine) -> None:
        """18.67 mA into 300 ohm and 75 ohm would be 7 V at the pin; it stops near 1.5 V, 0.3 V at the display."""
        values = 'white = "18.67 mA", compliance = "1.5 V"'
        job = text(line(source="current-dac", source_values=values, stage_values='series = "300 ohm"'))
        assert finding(run(engine, job), "level.white").value == pytest.approx(1.5 * 75 / 375, rel=0.03)


class TestWithoutADiodeToTheRail:
    """LS-TTL and n-channel data sheets: 7 V at the pin is the end, whatever the rail does; no diode leads to it."""

    def job(self, source: str, values: str, family: str) -> str:
        return job_text(
            source=source,
            source_values=values,
            standard="scart-sync",
            stage="series-resistor",
            stage_values='series = "330 ohm"',
            pin=f'{{ family = "{family}" }}',
            names='"sync"',
        )

    @pytest.mark.parametrize(
        ("source", "values", "family"),
        [
            ("ttl-pin", 'high = "3.4 V"', "ls-ttl"),
            ("nmos-pin", 'white = "4 V", black = "1 V", sync = "0 V"', "nmos"),
        ],
    )
    def test_12_v_on_the_contact_passes_7_v_and_lifts_no_rail(
        self, engine: Engine, source: str, values: str, family: str
    ) -> None:
        found = findings(engine, self.job(source, values, family), "misplug")
        margin = found["sync/bare/event.margin/misplug/12 V"].value
        assert margin is not None
        assert margin <= 20 * math.log10(7 / 12) + 0.01
        rail = found["sync/bare/event.rail/misplug/12 V"].value
        assert rail == pytest.approx(5.0, abs=0.01)

    def test_the_same_chip_with_a_diode_feeds_the_rail(self, engine: Engine) -> None:
        values = 'high = "3.4 V", impedance = "120 ohm"'
        light = SUPPLY.replace('rail_load = "100 mA"', 'rail_load = "1 mA"') + 'y_coupling = "single"\n'
        job = self.job("logic-pin", values, "hc-logic").replace(SUPPLY + 'y_coupling = "single"\n', light)
        rail = findings(engine, job, "misplug")["sync/bare/event.rail/misplug/12 V"].value
        assert rail is not None
        assert rail > 6.0


def test_families_without_a_rail_diode_state_7_v() -> None:
    for name in ("ls-ttl", "nmos", "open-collector"):
        ratings = Library.load().pin(name).ratings
        assert ratings["pin_voltage"] == 7.0
        assert "over_voltage" not in ratings


def test_open_collector_makes_its_level_with_the_pull_up(engine: Engine) -> None:
    """5 V through 330 ohm of pull-up and 560 ohm into 75 ohm: 0.3886 V.

    Low: 0.1 V behind 20 ohm beside 5 V behind 330 ohm is 0.380 V behind 18.86 ohm: 43.6 mV.
    """
    job = text(
        line(
            names="sync",
            standard="scart-sync",
            source="open-collector-pin",
            source_values='pull_up = "330 ohm", on_resistance = "20 ohm"',
            stage_values='series = "560 ohm"',
        )
    )
    high = 5.0 * 75 / (330 + 560 + 75)
    behind = 1 / (1 / 20 + 1 / 330)
    low = (0.1 / 20 + 5.0 / 330) * behind * 75 / (behind + 560 + 75)
    assert finding(run(engine, job), "level.sync", "sync").value == pytest.approx(high - low, abs=1e-3)


def test_a_loaded_tap_knows_what_it_already_carries(engine: Engine) -> None:
    """1.05 V at a tap behind 75 ohm that feeds 75 ohm: 2.1 V inside; another 75 ohm leaves 0.7 V."""
    values = 'white = "1.05 V", impedance = "75 ohm", load = "75 ohm"'
    job = text(line(source="loaded-tap", source_values=values, stage="pass-through", stage_values=""))
    assert finding(run(engine, job), "level.white").value == pytest.approx(0.7, abs=2e-3)
