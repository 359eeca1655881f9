"""A source against the readings of its pin, through job file, ngspice and rule."""

from __future__ import annotations

import pytest

from guardcheck.appraisal import Appraisal
from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Finding
from tests.pipeline.jobs import finding, line, text
from tests.shelf.appraised import run

CURRENT = (
    'readings = [ { load = "open", volts = "3.0 V" }, { load = "150 ohm", volts = "2.8 V" }, '
    '{ load = "75 ohm", volts = "1.4 V" } ]\n'
)
LINEAR = (
    'readings = [ { load = "open", volts = "2.0 V" }, { load = "150 ohm", volts = "1.333 V" }, '
    '{ load = "75 ohm", volts = "1.0 V" } ]\n'
)


def job(source: str, values: str, readings: str) -> str:
    made = text(line(source=source, source_values=values, stage_values='series = "1 ohm"'))
    return made.replace(f'source = "{source}"\n', f'source = "{source}"\n{readings}')


def fit(result: Appraisal) -> Finding:
    (found,) = (one for one in result.findings if one.quantity == "source.fit")
    return found


class TestThreeReadings:
    def test_a_current_output_called_linear_is_found_out(self, engine: Engine) -> None:
        """3.0 V, 2.8 V and 1.4 V: 18.67 mA up to 3.0 V. As 3.0 V behind 85.7 ohm it would read 1.91 V into 150 ohm."""
        found = fit(run(engine, job("video-pin", 'white = "3.0 V", impedance = "85.7 ohm"', CURRENT)))
        assert found.outcome == DOES_NOT_CONFORM
        assert found.value == pytest.approx((2.8 - 3.0 * 150 / 235.7) / (2 * 0.03 * 2.8 / 3**0.5), rel=0.01)
        assert 'Write source = "current-dac"' in found.why

    def test_as_a_current_output_it_conforms_and_predicts_the_level(self, engine: Engine) -> None:
        """Left out, current and compliance follow from the readings: 18.67 mA into 75 ohm is 1.4 V."""
        made = job("current-dac", 'load = "1 Mohm"', CURRENT)
        result = run(engine, made.replace('series = "1 ohm"', 'series = "1 mohm"'))
        assert fit(result).outcome == CONFORMS
        assert finding(result, "level.white").value == pytest.approx(1.4, rel=0.01)

    def test_a_linear_output_gives_its_emf_and_impedance(self, engine: Engine) -> None:
        """SAA7158 data sheet p.15: 2 V behind 75 ohm, 1 V into 75 ohm."""
        result = run(engine, job("video-pin", "", LINEAR))
        assert fit(result).outcome == CONFORMS
        assert finding(result, "level.white").value == pytest.approx(2.0 * 75 / 151, rel=5e-3)
        assert finding(result, "response.impedance").value == pytest.approx(76.0, rel=0.01)

    def test_emf_and_impedance_err_together(self, engine: Engine) -> None:
        """Into the 75 ohm it was read into, a level read to 3 % is known to 3 %, whatever EMF and impedance are."""
        spread = finding(run(engine, job("video-pin", "", LINEAR)), "level.white").spread
        assert spread is not None
        nominal = 2.0 * 75 / 151
        assert spread == pytest.approx((0.97 * nominal, 1.03 * nominal), rel=3e-3)


class TestTwoReadings:
    def test_two_readings_prove_no_kind_of_output(self, engine: Engine) -> None:
        """3.0 V open, 1.4 V into 75 ohm: the next reading tells, 1.91 V or 2.80 V into 150 ohm."""
        values = 'open_white = "3.0 V", loaded_white = "1.4 V", load = "75 ohm"'
        found = fit(run(engine, job("video-pin", values, "")))
        assert found.outcome == NOT_PROVEN
        assert "150 ohm" in found.why
        assert "1.91 V" in found.why
        assert "2.8 V" in found.why

    def test_a_source_that_was_not_read_has_no_such_row(self, engine: Engine) -> None:
        result = run(engine, job("video-pin", 'white = "1.4 V", impedance = "75 ohm"', ""))
        assert [one for one in result.findings if one.quantity == "source.fit"] == []


@pytest.mark.parametrize(
    ("readings", "sentence"),
    [
        ('readings = [ { load = "75 ohm", volts = "1 V" } ]\n', "two different loads or more"),
        ('readings = [ { load = "75 ohm", volts = "1 V" }, { load = "75 ohm", volts = "1.1 V" } ]\n', "two different"),
        ('readings = [ { load = "open", volts = "0 V" }, { load = "75 ohm", volts = "0 V" } ]\n', "at or below 0 V"),
    ],
)
def test_readings_that_show_nothing_are_refused(engine: Engine, readings: str, sentence: str) -> None:
    with pytest.raises(JobError, match=rf"line\[0\]\.readings: .*{sentence}"):
        run(engine, job("video-pin", 'white = "1.4 V"', readings))


def test_edges_tell_a_pull_up(engine: Engine) -> None:
    readings = (
        'readings = [ { load = "open", volts = "5.0 V" }, { load = "1 kohm", volts = "2.5 V" }, '
        '{ load = "300 ohm", volts = "1.154 V" } ]\nedges = { rise = "200 ns", fall = "15 ns" }\n'
    )
    found = fit(run(engine, job("video-pin", 'white = "5 V", impedance = "1 kohm"', readings)))
    assert found.outcome == CONFORMS
    assert "pull-up resistor" in found.why
    assert 'Write source = "open-collector-pin"' in found.why


class TestLogicPins:
    """A logic pin of 5 V behind 50 ohm gives 57 mA into 37.5 ohm, and 20 or 25 mA are the end of most families."""

    LOADED = 'readings = [ { load = "open", volts = "5.0 V" }, { load = "1 kohm", volts = "4.76 V" } ]\n'

    def test_no_heavier_load_is_asked_of_it_than_it_bears(self, engine: Engine) -> None:
        found = fit(run(engine, job("logic-pin", 'high = "5 V", impedance = "50 ohm"', self.LOADED)))
        assert found.outcome == NOT_PROVEN
        assert "read it once more" not in found.why
        assert "bears no load below 1 kohm" in found.why
        assert "as open_high, loaded_high and load" in found.why

    def test_a_source_that_says_nothing_of_loads_is_asked_for_lighter_ones_only(self, engine: Engine) -> None:
        """Read into 150 ohm by the technician himself: 300 ohm may be asked for, 37.5 ohm may not."""
        readings = 'readings = [ { load = "open", volts = "3.0 V" }, { load = "150 ohm", volts = "1.4 V" } ]\n'
        found = fit(run(engine, job("current-dac", 'load = "1 Mohm"', readings)))
        assert found.outcome == NOT_PROVEN
        assert "read it once more into 300 ohm" in found.why
