"""Typed readings to findings: what conforms, what fails, what proves nothing, against published rules and figures."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError, JobError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, MEASURED, NOT_PROVEN, Result
from guardcheck.pipeline import given
from guardcheck.report import from_json, to_html, to_json, to_terminal
from tests.verify.bench import BACK_MATCHED, dark, line, lines, only, reading, run, text

RGBS = text(
    line("red green blue", source_values='white = "1.4 V", impedance = "1 ohm"', stage_values='series = "74 ohm 1%"'),
    line(
        "sync",
        standard="scart-sync",
        source="logic-pin",
        source_values='high = "5 V", low = "0 V", impedance = "30 ohm"',
        stage_values='series = "1.2 kohm 5%"',
    ),
)
RIGHT = (
    reading("red") + dark("red"),
    reading("green", value="3.5 div", scale="200 mV/div") + dark("green"),
    reading("blue", value="69 mV", scale="20 mV/div", probe="x10", scale_at="input") + dark("blue"),
    reading("sync", "level.sync", "290 mV", picture="") + reading("sync", "level.blank", "290 mV", picture=""),
)


def test_right_readings_conform_and_stand_beside_the_plan(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, RGBS, *RIGHT)
    assert (result.command, result.outcome) == ("verify", CONFORMS)
    for name, quantity, value in (
        ("red", "level.white", 0.7),
        ("green", "level.white", 0.7),
        ("blue", "level.white", 0.69),
        ("sync", "level.sync", 0.29),
    ):
        found = only(result, quantity, name)
        assert found.value == pytest.approx(value)
        assert (found.origin, found.outcome, found.needed) == (MEASURED, CONFORMS, True)
        assert found.uncertainty is not None
        assert 0 < found.uncertainty < 0.1
        assert found.planned == pytest.approx(0.7 if quantity == "level.white" else 0.287, rel=0.01)
        assert "Planned:" in found.why
        assert "agrees" in found.why
    assert result.extra["explanations"] == []


def test_ids_are_those_of_the_check(engine: Engine, tmp_path: Path) -> None:
    """A measurement can only settle what the simulation left open when both are called the same."""
    result = run(engine, tmp_path, RGBS.replace('guard = "none"', 'guard = "silicon-pair"', 1), *RIGHT)
    assert only(result, "level.white").id == "LVL01/red/guarded/level.white"
    assert only(result, "level.sync", "sync").id == "LVL01/sync/bare/level.sync"


def test_a_line_nobody_measured_is_not_proven(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, RGBS, *RIGHT[:3])
    assert result.outcome == NOT_PROVEN
    missing = only(result, "level.sync", "sync")
    assert (missing.outcome, missing.needed, missing.value) == (NOT_PROVEN, True, None)
    assert "not measured" in missing.why
    assert missing.planned == pytest.approx(0.287, rel=0.01)


@pytest.mark.parametrize(
    ("told", "open_"),
    [
        (reading(), {"level.black", "level.blank"}),
        (reading() + dark("red", "level.black"), {"level.blank"}),
        (dark("red"), {"level.white"}),
    ],
)
def test_every_level_the_standard_limits_is_owed(engine: Engine, tmp_path: Path, told: str, open_: set[str]) -> None:
    """White alone settles nothing: black may be lifted and the line may carry a direct voltage nobody read."""
    result = run(engine, tmp_path, text(BACK_MATCHED), told)
    assert result.outcome == NOT_PROVEN
    found = {one.quantity for one in result.findings if one.needed and one.outcome == NOT_PROVEN}
    assert found == open_
    assert all(only(result, name).remedy for name in open_)
    assert run(engine, tmp_path, text(BACK_MATCHED), reading(), dark("red")).outcome == CONFORMS


def test_a_value_left_unknown_is_as_if_nobody_had_written_it(engine: Engine, tmp_path: Path) -> None:
    unread = reading("sync", "level.sync", "unknown", picture="")
    with_place = run(engine, tmp_path, RGBS, *RIGHT[:3], unread)
    assert only(with_place, "level.sync", "sync").outcome == NOT_PROVEN
    both = run(engine, tmp_path, RGBS, *RIGHT, unread)
    assert both.outcome == CONFORMS
    assert len([one for one in both.findings if one.quantity == "level.sync"]) == 1


PICTURES = [
    ("800 mV", "white", CONFORMS, 0.8),
    ("800 mV", "bars-100", CONFORMS, 0.8),
    ("800 mV", "bars-75", DOES_NOT_CONFORM, 0.8 / 0.75),  # 1.07 V at white: design rule
    ("525 mV", "bars-75", CONFORMS, 0.7),  # BT.471 75/0/75/0 in R, G, B: 525 mV
    ("700 mV", "other", NOT_PROVEN, 0.7),
    ("1.2 V", "other", DOES_NOT_CONFORM, 1.2),  # the brightest part is too bright already
    ("300 mV", "other", NOT_PROVEN, 0.3),  # white may be higher than what is seen
    ("700 mV", "", NOT_PROVEN, 0.7),
]


@pytest.fixture(scope="module")
def pictures(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Every row as a line of one job."""
    told = [reading(f"f{index}", value=value, picture=picture) for index, (value, picture, _, _) in enumerate(PICTURES)]
    return run(engine, tmp_path_factory.mktemp("pictures"), text(lines(len(PICTURES))), *told)


@pytest.mark.parametrize("index", range(len(PICTURES)))
def test_only_a_known_picture_conforms(pictures: Result, index: int) -> None:
    _, _, outcome, level = PICTURES[index]
    found = only(pictures, "level.white", f"f{index}")
    assert found.value == pytest.approx(level)
    assert (found.outcome, found.needed) == (outcome, True)


def test_an_unknown_load_stays_as_seen_and_never_conforms(engine: Engine, tmp_path: Path) -> None:
    found = only(run(engine, tmp_path, text(BACK_MATCHED), reading(load="")), "level.white")
    assert (found.value, found.outcome) == (pytest.approx(0.7), NOT_PROVEN)
    assert "load" in found.why
    assert found.remedy is not None
    assert 'load = "terminated" or "open"' in found.remedy


def test_an_open_reading_is_converted_with_this_job_s_own_impedance(engine: Engine, tmp_path: Path) -> None:
    """Divider 75 / (75 + Zout): 1.4 V open behind 75 ohm is 0.7 V into 75 ohm (double termination, AN9756)."""
    found = only(run(engine, tmp_path, text(BACK_MATCHED), reading(value="1.4 V", load="open")), "level.white")
    assert found.value == pytest.approx(0.7, rel=1e-3)
    assert found.outcome == CONFORMS
    assert "1.4 V" in found.why
    behind_30 = BACK_MATCHED.replace('"75 ohm 1%"', '"30 ohm 1%"')
    found = only(run(engine, tmp_path, text(behind_30), reading(value="1.6 V", load="open")), "level.white")
    assert found.value == pytest.approx(1.6 * 75 / 105, rel=1e-3)
    assert found.outcome == DOES_NOT_CONFORM


def test_a_scale_that_may_be_at_the_tip_or_not_proves_nothing(engine: Engine, tmp_path: Path) -> None:
    told = reading(value="4.0 div", scale="200 mV/div", probe="x10")
    found = only(run(engine, tmp_path, text(BACK_MATCHED), told), "level.white")
    assert (found.outcome, found.value) == (NOT_PROVEN, None)
    assert "800 mV" in found.why
    assert "8 V" in found.why


WINDOW = (0.7 * 10 ** (-3 / 20), 0.7 * 10 ** (3 / 20))
"""0.7 V plus or minus 3 dB: TV handbook, AV connector page."""


BANDS = [
    (end, away, outcome)
    for end in (0, 1)
    for away, outcome in (
        (1.1, CONFORMS),
        (0.9, NOT_PROVEN),
        (0.1, NOT_PROVEN),
        (-0.1, NOT_PROVEN),
        (-0.9, NOT_PROVEN),
        (-1.1, DOES_NOT_CONFORM),
    )
]


def band(end: int, away: float) -> tuple[float, float]:
    """Return a value that lies `away` uncertainties inside one end of the window, and that uncertainty [V].

    An accuracy of 10 mV alone and steps too small to matter: U = 2 x 10 / sqrt(3) mV = 11.5 mV (GUM, uniform), plus
    the load of 1 % behind 75 ohm: 0.5 % / sqrt(3) x 2.
    """
    level = WINDOW[end]
    width = math.hypot(2 * 0.010 / math.sqrt(3), 2 * 0.5 * 0.01 * level / math.sqrt(3))
    return level + away * width * (1 if end == 0 else -1), width


@pytest.fixture(scope="module")
def bands(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Every row as a line of one job."""
    bench = {"accuracy": "10 mV", "resolution": "1 uV", "termination": "1%", "place": "connector"}
    told = [
        reading(f"f{index}", value=f"{band(end, away)[0]:.6f} V", **bench) for index, (end, away, _) in enumerate(BANDS)
    ]
    return run(engine, tmp_path_factory.mktemp("bands"), text(lines(len(BANDS))), *told)


@pytest.mark.parametrize("index", range(len(BANDS)))
def test_decision_by_guard_band(bands: Result, index: int) -> None:
    """ILAC-G8:09/2019, guard band w = U as public guides quote it: inside limit - U conforms, outside limit + U not."""
    end, away, outcome = BANDS[index]
    found = only(bands, "level.white", f"f{index}")
    assert found.uncertainty == pytest.approx(band(end, away)[1], rel=0.02)
    assert found.outcome == outcome
    assert "probability of conformity" in found.why


def test_probability_of_conformity_is_that_of_jcgm_106(engine: Engine, tmp_path: Path) -> None:
    """JCGM 106:2012, normal distribution: at the limit itself the probability is a half."""
    told = reading(value=f"{WINDOW[1]:.6f} V", accuracy="10 mV", resolution="1 uV")
    assert "probability of conformity 50 %" in only(run(engine, tmp_path, text(BACK_MATCHED), told), "level.white").why


def test_two_readings_of_one_level_are_both_held(engine: Engine, tmp_path: Path) -> None:
    result = run(
        engine, tmp_path, text(BACK_MATCHED), reading(), reading(value="1.39 V", load="open", place="connector")
    )
    assert only(result, "level.white").outcome == CONFORMS
    again = only(result, "level.white", where="reading 2 connector open")
    assert again.value == pytest.approx(0.695, rel=1e-3)
    contradicted = run(engine, tmp_path, text(BACK_MATCHED), reading(), reading(value="400 mV"))
    assert contradicted.outcome == DOES_NOT_CONFORM


def test_a_doubtful_second_reading_does_not_undo_a_good_one(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, text(BACK_MATCHED), reading(), dark(), reading(picture="other"))
    assert result.outcome == CONFORMS
    assert not only(result, "level.white", where="reading 4 display terminated").needed


def test_colours_of_different_brightness_fail_together(engine: Engine, tmp_path: Path) -> None:
    """EN 50049-1 (from memory): at most 0.5 dB between R, G and B; 0.9 V against 0.55 V is 4.3 dB."""
    result = run(
        engine,
        tmp_path,
        RGBS,
        reading("red", value="900 mV"),
        reading("green", value="550 mV"),
        reading("blue"),
        RIGHT[3],
    )
    found = only(result, "level.mismatch", "green")
    assert found.value == pytest.approx(20 * math.log10(0.9 / 0.55), rel=1e-3)
    assert (found.outcome, found.needed, result.outcome) == (DOES_NOT_CONFORM, True, DOES_NOT_CONFORM)
    alike = run(engine, tmp_path, RGBS, *RIGHT)
    assert not only(alike, "level.mismatch").needed


def test_white_and_sync_make_the_peak_to_peak(engine: Engine, tmp_path: Path) -> None:
    job = text(
        line(
            "composite",
            standard="scart-composite",
            source="encoder-pin",
            source_values=(
                'white = "2 V", black = "0.6 V", blank = "0.6 V", sync = "0 V", impedance = "75 ohm", sink = "60 mA"'
            ),
            stage="pass-through",
            stage_values="",
        )
    )
    told = (
        reading("composite"),
        reading("composite", "level.sync", "300 mV", picture="") + dark("composite"),
    )
    result = run(engine, tmp_path, job, *told)
    found = only(result, "level.pp", "composite")
    parts = [only(result, name, "composite").uncertainty or 0.0 for name in ("level.white", "level.sync")]
    assert found.value == pytest.approx(1.0)
    assert found.uncertainty == pytest.approx(sum(parts))
    assert result.outcome == CONFORMS
    alone = run(engine, tmp_path, job, told[1])
    assert only(alone, "level.pp", "composite").outcome == NOT_PROVEN
    assert alone.outcome == NOT_PROVEN


CONTROL = line(
    "function",
    standard="scart-switching",
    source="switch-pin",
    source_values='voltage = "12 V", impedance = "100 ohm"',
    stage="pass-through",
    stage_values="",
)


@pytest.mark.parametrize(
    ("value", "outcome", "words"),
    [
        ("11.6 V", CONFORMS, "4:3 from this unit"),
        ("8.00 V", DOES_NOT_CONFORM, "no state is defined"),  # one maker's set drives 8 V: service manual
        ("5.00 V", DOES_NOT_CONFORM, "16:9 from this unit"),  # MAX9595: mid level 4.5 to 7.0 V
        ("1.00 V", DOES_NOT_CONFORM, "off"),
    ],
)
def test_a_switching_pin_is_read_with_a_meter(
    engine: Engine, tmp_path: Path, value: str, outcome: str, words: str
) -> None:
    job = text(CONTROL, rail="12 V")
    told = reading("function", "level.blank", value, picture="", instrument="meter", accuracy="1.0% + 2 counts")
    found = only(run(engine, tmp_path, job, told), "level.blank", "function")
    assert found.outcome == outcome
    assert words in found.why


def test_a_line_into_a_high_impedance_is_not_converted_as_if_into_75_ohm(engine: Engine, tmp_path: Path) -> None:
    """Divider: logic sync of 4.9 V open behind 150 ohm is 4.9 V into 100 kohm, not 1.6 V into 75 ohm."""
    job = text(
        line(
            "sync",
            standard="logic-sync",
            source="logic-pin",
            source_values='high = "5 V", low = "0 V", impedance = "50 ohm"',
            stage_values='series = "100 ohm"',
        ),
        display="logic-input",
    )
    told = reading("sync", "level.sync", "4.9 V", picture="", load="open")
    found = only(run(engine, tmp_path, job, told), "level.sync", "sync")
    assert found.value == pytest.approx(4.9, rel=5e-3)


@pytest.mark.parametrize(("low", "outcome"), [("0.3 V", CONFORMS), ("2.8 V", DOES_NOT_CONFORM)])
def test_logic_sync_is_read_high_and_low(engine: Engine, tmp_path: Path, low: str, outcome: str) -> None:
    """Monitor service manuals: low up to 0.8 V, high from 2.0 V. A swing of 2.2 V from 5 V is never low."""
    job = text(
        line(
            "sync",
            standard="logic-sync",
            source="logic-pin",
            source_values='high = "5 V", low = "0 V", impedance = "50 ohm"',
            stage_values='series = "100 ohm"',
        ),
        display="logic-input",
    )
    told = [reading("sync", name, volts, picture="") for name, volts in (("level.high", "5.0 V"), ("level.low", low))]
    result = run(engine, tmp_path, job, *told)
    assert only(result, "level.high", "sync").outcome == CONFORMS
    assert only(result, "level.low", "sync").outcome == outcome
    swing = run(engine, tmp_path, job, reading("sync", "level.sync", "2.2 V", picture=""))
    assert only(swing, "level.low", "sync").outcome == NOT_PROVEN


TONE, EYE = 'white = "0 V", blank = "2.7 V", sync = "1.3 V"', 'white = "0 V", blank = "3 V", sync = "2 V"'


@pytest.mark.parametrize(
    ("standard", "source", "values", "quantity", "value", "outcome"),
    [
        # 0.5 V rms nominal, 0.2 to 2 V rms: 2.83 times that peak to peak of a sine
        ("audio-line", "video-pin", TONE, "level.pp", "1.41 V", CONFORMS),
        ("audio-line", "video-pin", TONE, "level.pp", "0.4 V", DOES_NOT_CONFORM),
        ("supply-5v", "switch-pin", 'voltage = "5 V"', "level.blank", "5.02 V", CONFORMS),
        ("supply-5v", "switch-pin", 'voltage = "5 V"', "level.blank", "4.50 V", DOES_NOT_CONFORM),
        ("optical-pickup", "video-pin", EYE, "level.pp", "1.0 V", CONFORMS),
        ("optical-pickup", "video-pin", EYE, "level.pp", "0.5 V", DOES_NOT_CONFORM),
    ],
)  # fmt: skip
def test_other_profiles(
    engine: Engine, tmp_path: Path, standard: str, source: str, values: str, quantity: str, value: str, outcome: str
) -> None:
    job = text(
        line("probe", standard=standard, source=source, source_values=f'{values}, impedance = "10 ohm"',
             stage="pass-through", stage_values=""),
        display="control-input",
    )  # fmt: skip
    meter = {"instrument": "meter", "accuracy": "0.5% + 2 counts"} if source == "switch-pin" else {}
    result = run(engine, tmp_path, job, reading("probe", quantity, value, picture="", **meter))
    assert only(result, quantity, "probe").outcome == outcome
    assert any("pick-up" in caution for caution in result.cautions) == (standard == "optical-pickup")


def test_a_meter_does_not_read_a_picture(engine: Engine, tmp_path: Path) -> None:
    told = reading(value="0.30 V", instrument="meter", accuracy="1.0% + 2 counts")
    found = only(run(engine, tmp_path, text(BACK_MATCHED), told), "level.white")
    assert found.outcome == NOT_PROVEN
    assert "oscilloscope" in found.why


def test_the_whole_result_survives_json_and_every_report(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, RGBS, *RIGHT[1:], reading("red", value="1.4 V"))
    first = to_json(result)
    assert json.loads(first)["command"] == "verify"
    again = from_json(first)
    assert to_json(again) == first
    page, terminal = to_html(again), to_terminal(again)
    assert "What explains the readings" in page
    assert "Verification of the finished mod" in terminal
    assert max(map(len, terminal.splitlines())) <= 80
    assert to_json(run(engine, tmp_path, RGBS, *RIGHT[1:], reading("red", value="1.4 V"))) == first


def test_the_evidence_is_kept_with_its_hash_and_its_budget(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, RGBS, *RIGHT)
    used = [one for one in result.circuits if one.kind == "readings"]
    assert [one.file for one in used] == ["readings.toml"]
    assert len(used[0].sha256) == 64
    rows = result.extra["budgets"]["LVL01/red/bare/level.white"]
    total = 2 * math.sqrt(sum(row["standard"] ** 2 for row in rows))
    assert total == pytest.approx(only(result, "level.white").uncertainty)
    assert all(row["source"] for row in rows)


def test_an_unknown_source_widens_the_plan_and_leaves_the_verdict_to_the_reading(
    engine: Engine, tmp_path: Path
) -> None:
    job = text(BACK_MATCHED.replace('impedance = "1 mohm"', 'impedance = "unknown"'))
    found = only(run(engine, tmp_path, job, reading()), "level.white")
    assert found.outcome == CONFORMS
    assert "with the declared tolerances" in found.why


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (reading("rde"), ["'rde' is not a line of this job", "did you mean 'red'", "reading[0].line"]),
        (reading(quantity="level.wite"), ["did you mean 'level.white'"]),
        (reading(picture="grey"), ["'grey'", "bars-75"]),
        (reading(load="75 ohm"), ["terminated"]),
        (reading(value="700"), ["no unit"]),
        (reading(value="4 div"), ["scale"]),
        ("[[reading]\n", ["is not TOML"]),
        ("", ["there is no reading"]),
    ],
)
def test_a_bad_readings_file_is_one_sentence(engine: Engine, tmp_path: Path, told: str, words: list[str]) -> None:
    with pytest.raises(JobError) as caught:
        run(engine, tmp_path, text(BACK_MATCHED), told or "\n")
    message = str(caught.value)
    assert "\n" not in message
    for word in words:
        assert word in message


def test_nothing_measured_is_refused() -> None:
    with pytest.raises(InputError, match="nothing was measured"):
        given()


def test_readings_that_exclude_each_other_prove_nothing(engine: Engine, tmp_path: Path) -> None:
    """620 mV and 850 mV lie inside 0.7 V -3 / +3 dB alike; with 3 % each they cannot both be the white of one line."""
    told = (reading(value="620 mV"), reading(value="850 mV"), dark("red"))
    result = run(engine, tmp_path, text(BACK_MATCHED), *told)
    whites = [one for one in result.findings if one.quantity == "level.white"]
    assert [(one.outcome, one.needed) for one in whites] == [(NOT_PROVEN, True)] * 2
    assert all("exclude each other" in one.why for one in whites)
    assert result.outcome == NOT_PROVEN
    close = (reading(value="690 mV"), reading(value="710 mV"), dark("red"))
    assert run(engine, tmp_path, text(BACK_MATCHED), *close).outcome == CONFORMS


@pytest.mark.parametrize(("seen", "outcome"), [("820 mV", NOT_PROVEN), ("720 mV", CONFORMS), ("400 mV", CONFORMS)])
def test_a_picture_nobody_named_rules_out_a_white_below_it(
    engine: Engine, tmp_path: Path, seen: str, outcome: str
) -> None:
    """White is the brightest there is: whatever was on the screen at 820 mV, a white of 700 mV +/- 32 mV is not it."""
    told = (reading(value="700 mV"), reading(value=seen, picture="other"), dark("red"))
    result = run(engine, tmp_path, text(BACK_MATCHED), *told)
    assert result.outcome == outcome
    assert ("exclude each other" in only(result, "level.white").why) == (outcome == NOT_PROVEN)


def test_levels_alone_do_not_show_which_line_is_which(engine: Engine, tmp_path: Path) -> None:
    """Red and green swapped read the same 0.7 V: what only a capture of bars shows is said to be unseen."""
    said = [one for one in run(engine, tmp_path, RGBS, *RIGHT).not_examined if "own contact" in one]
    assert said == [
        "Whether each line is on its own contact, not swapped or joined with another, was not seen: red, green, blue."
        " Only a capture of colour bars shows it."
    ]
    alone = run(engine, tmp_path, text(BACK_MATCHED), reading()).not_examined
    assert not [one for one in alone if "own contact" in one]


def test_names_that_do_not_tell_what_a_line_carries_are_said(engine: Engine, tmp_path: Path) -> None:
    job = text(BACK_MATCHED.replace('"red"', '"a1", "a2"'))
    right = [reading(name) + dark(name) for name in ("a1", "a2")]
    result = run(engine, tmp_path, job, *right)
    said = [one for one in result.not_examined if "own contact" in one]
    assert result.outcome == CONFORMS
    assert len(said) == 1
    assert "was not seen: a1, a2. Their names do not say what they carry: name them red, green, blue" in said[0]


def test_a_line_of_which_nobody_knows_how_it_is_coupled_owes_the_tilt_of_a_field(
    engine: Engine, tmp_path: Path
) -> None:
    """A value of an own stage that nobody knows leaves the plan unsimulated, and the 10 uF in it unseen."""
    stage = ".subckt mine in out vdd gnd r=75\nc1 in m 10u\nr1 m out {r}\n.ends\n"
    (tmp_path / "mine.cir").write_text(stage, encoding="utf-8")
    job = text(BACK_MATCHED.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"'))
    job = job.replace('series = "75 ohm 1%"', 'r = "unknown"')
    result = run(engine, tmp_path, job, reading(), dark("red"))
    tilt = only(result, "response.field_tilt")
    assert (tilt.outcome, tilt.needed, result.outcome) == (NOT_PROVEN, True, NOT_PROVEN)
    assert "so the plan was not simulated" in only(result, "level.white").why


def test_a_capacitor_inside_a_call_of_an_own_stage_owes_the_tilt_of_a_field(engine: Engine, tmp_path: Path) -> None:
    stage = ".subckt mine in out vdd gnd\nx1 in out leg\n.ends\n.subckt leg a b\nc1 a m 470u\nr1 m b 75\n.ends\n"
    (tmp_path / "mine.cir").write_text(stage, encoding="utf-8")
    own = BACK_MATCHED.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')
    job = text(own.replace('stage_values = { series = "75 ohm 1%" }\n', ""))
    tilt = only(run(engine, tmp_path, job, reading(), dark("red")), "response.field_tilt")
    assert (tilt.outcome, tilt.needed) == (NOT_PROVEN, True)
