"""What displays take: sync windows, line rates, high levels, logic; and the standards that go with them."""

from __future__ import annotations

import pytest

from guardcheck.appraisal import Appraisal
from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, Finding
from guardcheck.standards import load_standard
from tests.pipeline.jobs import finding, line, text
from tests.shelf.appraised import run

# standard, quantity, low, high, where the two ends were published
PUBLISHED = [
    ("high-level-rgb", "level.white", 3.1, 3.3, "monitor manual 1492: saturated 3.1 to 3.3 V"),
    ("ttl-rgbi", "level.low", -0.5, 0.8, "LS-TTL data sheets: VIL 0.8 V"),
    ("ttl-rgbi", "level.high", 2.0, 5.5, "LS-TTL data sheets: VIH 2.0 V"),
    ("rgb-sync-on-green", "level.sync", 0.14, 0.60, "LMH1981 data sheet, p.3: 0.14, 0.30, 0.60 V"),
    ("rgb-sync-on-green", "level.pp", 0.5, 2.0, "LMH1981 data sheet, p.3: 0.5 to 2 V in all"),
    ("rgb-21", "level.white", 0.4956, 0.9888, "0.7 V within 3 dB, from memory"),
    ("composite-525-setup", "level.black", 0.05 * 0.7143, 0.10 * 0.7143, "page collected from BT.470-5: 7.5 +- 2.5 %"),
    ("composite-525-no-setup", "level.black", -0.0179, 0.0179, "2.5 % of 714.3 mV either way of none"),
    ("composite-525-setup", "level.pp", 0.7079, 1.4125, "TV handbook, AV connector page: 1 V plus or minus 3 dB"),
    ("composite-525-no-setup", "level.sync", 0.2023, 0.9035, "TV handbook: sync -3 dB, +10 dB; of 285.7 mV"),
    ("component-31k", "level.white", 0.658, 0.742, "studio recorder manual, table 2-10: 700 mV; 6 % of AN-945"),
]


@pytest.mark.parametrize(("name", "quantity", "low", "high", "where"), PUBLISHED)
def test_limits_are_those_in_print(name: str, quantity: str, low: float, high: float, where: str) -> None:
    limit = load_standard(name).limits[quantity]
    assert where
    assert (limit.low, limit.high) == (pytest.approx(low, rel=3e-3), pytest.approx(high, rel=3e-3))


def test_level_codes_of_monitors_lie_in_or_out_of_the_window() -> None:
    """Monitor service manual, EDID level codes: 0.700/0.300, 0.714/0.286, 1.000/0.400 V."""
    limit = load_standard("rgb-sync-on-green").limits["level.white"]
    assert limit.low is not None
    assert limit.high is not None
    assert [limit.low <= volts <= limit.high for volts in (0.700, 0.714, 1.000)] == [True, True, False]


def test_31_khz_is_twice_the_525_line_rate() -> None:
    """47 CFR 73.682(a)(5): 15734.264 Hz; progressive lines come twice as fast."""
    for name in ("component-31k", "component-31k-difference"):
        assert load_standard(name).line_rate == pytest.approx(2 * 15734.264, rel=1e-5)


def only(result: Appraisal, quantity: str) -> Finding:
    (found,) = (one for one in result.findings if one.quantity == quantity)
    return found


class TestSyncWindow:
    """LMH1981 data sheet, p.3: sync from 0.14 to 0.60 V, inputs to VS + 0.3 V."""

    @pytest.mark.parametrize(
        ("series", "outcome"),
        [("1.2 kohm", CONFORMS), ("560 ohm", CONFORMS), ("220 ohm", NOT_PROVEN), ("3.9 kohm", NOT_PROVEN)],
    )
    def test_locks_or_may_not_lock(self, engine: Engine, series: str, outcome: str) -> None:
        """5 V logic through the resistor into 75 ohm: 0.294, 0.591, 1.271 and 0.094 V, less what the clamp takes."""
        job = text(
            line(
                names="sync",
                standard="scart-sync",
                source="logic-pin",
                source_values='impedance = "1 mohm"',
                stage_values=f'series = "{series}"',
            ),
            display="sync-separator",
        )
        found = finding(run(engine, job), "sync.lock", "sync")
        ohms = float(series.split()[0]) * (1e3 if "kohm" in series else 1.0)
        # 5 uA drawn all along the line come back during the tip, 13.5 times as strong: 68 uA in up to 75 ohm, 5 mV less
        behind = 75.0 * ohms / (75.0 + ohms)
        clamped = 5e-6 * 64.0 / 4.7 * behind
        assert found.value == pytest.approx(5.0 * 75.0 / (75.0 + ohms) - clamped, abs=1.5e-3)
        assert found.outcome == outcome
        assert ("may not lock" in found.why) == (outcome == NOT_PROVEN)

    def test_5_v_straight_in_passes_its_rating(self, engine: Engine) -> None:
        job = text(
            line(
                names="sync",
                standard="scart-sync",
                source="logic-pin",
                source_values='impedance = "1 mohm"',
                stage="pass-through",
                stage_values="",
            ),
            display="sync-separator",
        )
        found = finding(run(engine, job), "sync.input", "sync")
        assert found.value == pytest.approx(5.0, abs=0.01)
        assert found.outcome == DOES_NOT_CONFORM


class TestLineRate:
    def job(self, standard: str, rates: str = "") -> str:
        job = text(
            line(names="y", standard=standard, source_values='white = "1.4 V", sync = "-0.6 V", impedance = "1 ohm"')
        )
        return job.replace('input = "terminated"', f'input = "terminated"\n{rates}')

    @pytest.mark.parametrize(
        ("standard", "rates", "outcome"),
        [
            ("component-sd", 'line_rates = ["15 kHz"]', CONFORMS),
            ("component-sd", 'line_rates = ["31 kHz"]', DOES_NOT_CONFORM),
            ("component-sd", "", NOT_APPLICABLE),
            ("component-31k", 'line_rates = ["15 kHz", "31 kHz"]', CONFORMS),
            ("component-31k", 'line_rates = ["15 kHz", "24 kHz"]', DOES_NOT_CONFORM),
            ("component-31k", "", NOT_PROVEN),
        ],
    )
    def test_the_display_takes_it_or_not(self, engine: Engine, standard: str, rates: str, outcome: str) -> None:
        found = only(run(engine, self.job(standard, rates)), "scan.line_rate")
        assert found.outcome == outcome
        assert found.needed == (outcome != NOT_APPLICABLE)
        assert ("overheat" in found.why) == (outcome in (DOES_NOT_CONFORM, NOT_PROVEN))

    def test_a_rate_there_is_no_monitor_for_is_refused(self) -> None:
        with pytest.raises(JobError, match=r"display.line_rates\[0\]: found '16 kHz'"):
            parse_job(self.job("component-sd", 'line_rates = ["16 kHz"]'), file="job.toml")


def test_a_07_v_stage_is_dark_on_a_high_level_monitor(engine: Engine) -> None:
    """Monitor manual 1492 wants 3.1 to 3.3 V; 1.4 V behind 75 ohm into 1 kohm is 1.302 V."""
    result = run(engine, text(line(standard="high-level-rgb"), display="high-level-monitor"))
    white = finding(result, "level.white")
    assert white.value == pytest.approx(1.4 * 1000 / 1075, rel=1e-3)
    assert white.outcome == DOES_NOT_CONFORM
    right = text(
        line(
            standard="high-level-rgb",
            source_values='white = "3.35 V", impedance = "1 ohm"',
            stage_values='series = "47 ohm"',
        ),
        display="high-level-monitor",
    )
    assert finding(run(engine, right), "level.white").outcome == CONFORMS


@pytest.mark.parametrize(("source", "outcome"), [("ttl-pin", CONFORMS), ("open-collector-pin", CONFORMS)])
def test_ttl_lines_reach_logic_levels_on_a_digital_monitor(engine: Engine, source: str, outcome: str) -> None:
    job = text(
        line(names="r", standard="ttl-rgbi", source=source, source_values="", stage_values='series = "22 ohm"'),
        display="rgbi-monitor",
    ).replace('input = "rgbi-monitor"', 'input = "rgbi-monitor"\nline_rates = ["15 kHz"]')
    result = run(engine, job)
    assert finding(result, "level.high", "r").outcome == outcome
    assert finding(result, "level.low", "r").outcome == outcome


def test_a_keyed_clamp_changes_nothing_of_a_coupled_picture(engine: Engine) -> None:
    """The clamp takes microamperes: the level at the input is that of the bare termination within a millivolt."""
    levels = [
        finding(
            run(
                engine,
                text(
                    line(stage="ac-coupled", stage_values='capacitor = "470 uF", series = "74 ohm"'),
                    display=display,
                ),
            ),
            "level.white",
        ).value
        for display in ("terminated", "keyed-clamp")
    ]
    assert levels[0] == pytest.approx(levels[1], abs=2e-3)
