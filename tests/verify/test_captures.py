"""Scope captures through the whole of `verify`: synthetic lines made by independent code, against their standard."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from guardcheck.engine import Engine
from guardcheck.errors import InputError, JobError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, MEASURED, NOT_PROVEN
from guardcheck.report import to_html
from tests.measure.measure_synth import S525, S625, Shot, csv_text, waveform
from tests.verify.bench import BACK_MATCHED, capture, causes, dark, line, only, reading, run, text

SHORT = Shot(rate=10e6, duration=1.2e-3, start=4e-3, bits=8, noise=0.003)
"""Eighteen scan lines from the middle of a field, as an 8-bit scope sees them."""
RED = SHORT.but(kind="red", picture="white")
SYNC = SHORT.but(kind="sync")
BARS = SHORT.but(kind="composite", rate=25e6)
AS_TAKEN = {"load": ("terminated",), "place": ("display",), "coupling": ("dc",)}

COMPOSITE = text(
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


def test_red_with_sync_from_a_second_channel(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    taken = {"captures": (f"red={file}",), "sync": "ch2", "picture": ("white",), **AS_TAKEN}
    result = run(engine, tmp_path, text(BACK_MATCHED), dark("red", "level.black"), **taken)
    white = only(result, "level.white")
    assert white.value == pytest.approx(0.7, abs=0.003)
    assert (white.outcome, white.origin, result.outcome) == (CONFORMS, MEASURED, CONFORMS)
    alone = run(engine, tmp_path, text(BACK_MATCHED), **taken)
    black = only(alone, "level.black")  # a white field holds no black: it is still owed
    assert (black.outcome, black.needed, alone.outcome) == (NOT_PROVEN, True, NOT_PROVEN)
    assert "colour bars" in (black.remedy or "")
    assert white.planned == pytest.approx(0.7, rel=1e-2)
    assert only(result, "noise.rms").value == pytest.approx(0.003 * 0.7, rel=0.35)
    assert [one["lines"] > 10 for one in result.extra["captures"]] == [True]
    assert "Hum was not seen in full: red. Only a capture of 20 ms or more" in " ".join(result.not_examined)


def test_colour_bars_against_the_whole_table(engine: Engine, tmp_path: Path) -> None:
    """ITU-R BT.470 system B/G as collected in public tables: 64 us, 4.7 us, 5.8 us, burst 300 mV, 700/300 mV."""
    file = capture(tmp_path, "bars.csv", video=BARS)
    result = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("bars-100",), **AS_TAKEN)
    published = {
        "level.pp": (1.0, 0.01),
        "level.sync": (0.3, 0.004),
        "timing.line_period": (64e-6, 5e-9),
        "timing.sync_width": (4.7e-6, 20e-9),
        "timing.back_porch": (5.8e-6, 60e-9),
        "burst.amplitude": (0.3, 0.01),
    }
    for quantity, (value, tolerance) in published.items():
        found = only(result, quantity, "composite")
        assert found.value == pytest.approx(value, abs=tolerance), quantity
        assert (found.outcome, found.needed) == (CONFORMS, True), quantity
    assert result.outcome == CONFORMS
    assert not only(result, "timing.front_porch", "composite").needed  # the last bar is black: its end is not seen


@pytest.mark.parametrize(
    ("picture", "outcome"),
    [("bars-75", CONFORMS), ("bars-100", CONFORMS), ("white", NOT_PROVEN), ("other", NOT_PROVEN)],
)
def test_bars_of_75_percent_count_as_what_they_are(engine: Engine, tmp_path: Path, picture: str, outcome: str) -> None:
    """75 % bars hold 525 mV in R, G, B (BT.471 75/0/75/0): as 75 % that is 700 mV, as 100 % still inside 3 dB."""
    red = SHORT.but(kind="red", picture="bars", amplitude=0.75)
    file = capture(tmp_path, "red.csv", RED=red, SYNC=SYNC)
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="SYNC", picture=(picture,), **AS_TAKEN
    )
    white = only(result, "level.white")
    assert white.outcome == outcome
    assert white.value == pytest.approx(0.7 if picture == "bars-75" else 0.525, rel=0.01)


def test_a_white_field_called_bars_proves_nothing(engine: Engine, tmp_path: Path) -> None:
    """Scaled from 75 %, 480 mV of white would read 640 mV: inside the limits it is not inside of."""
    file = capture(tmp_path, "red.csv", CH1=RED.but(gain=0.48 / 0.7), CH2=SYNC)
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("bars-75",), **AS_TAKEN
    )
    found = only(result, "level.white")
    assert found.outcome == NOT_PROVEN
    assert "as long as a white field's" in found.why


def test_what_the_readings_say_of_a_line_holds_for_its_capture(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    told = reading(quantity="level.white", value="unknown")
    result = run(engine, tmp_path, text(BACK_MATCHED), told, captures=(f"red={file}",), sync="CH2")
    found = only(result, "level.white")
    assert found.outcome == CONFORMS
    assert "picture white, load terminated, place display, as the readings of this line say" in found.why
    twofold = (told, reading(quantity="level.black", value="0 mV", load="open"))
    result = run(engine, tmp_path, text(BACK_MATCHED), *twofold, captures=(f"red={file}",), sync="CH2")
    assert only(result, "level.white").outcome == NOT_PROVEN  # readings that disagree say nothing of a capture


def test_the_accuracy_of_the_readings_file_is_the_scope_s(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    told = reading(quantity="level.white", value="unknown")
    widths = []
    for head in ("", '[scope]\naccuracy = "1%"\n'):
        result = run(engine, tmp_path, text(BACK_MATCHED), head + told, captures=(f"red={file}",), sync="CH2")
        widths.append(only(result, "level.white").uncertainty or 0.0)
    assert widths[1] < widths[0]


def test_an_unknown_load_of_a_capture_never_conforms(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    result = run(engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("white",))
    assert only(result, "level.white").outcome == NOT_PROVEN
    assert result.outcome == NOT_PROVEN


def test_an_open_capture_is_converted_and_shows_what_was_seen(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED.but(gain=2.0, full_scale=3.2), CH2=SYNC)
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("white",), load=("open",)
    )
    white = only(result, "level.white")
    assert white.value == pytest.approx(0.7, abs=0.006)
    assert white.outcome == CONFORMS
    assert "with an open line" in white.why


def test_twice_the_level_is_explained(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED.but(gain=2.0, full_scale=3.2), CH2=SYNC)
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("white",), **AS_TAKEN
    )
    assert only(result, "level.white").outcome == DOES_NOT_CONFORM
    assert {"display unterminated", "rs_stage 1 mohm", "source 2"} <= set(causes(result))


@pytest.mark.parametrize(
    ("changed", "quantity", "words"),
    [
        ({"duration": 0.15e-3}, "level.white", "too short"),
        ({"rate": 2e6}, "level.white", "undersampled"),
        ({"clip_high": 0.6}, "level.white", "cut off by the edge of the screen"),
    ],
)
def test_a_capture_that_cannot_tell_says_why(
    engine: Engine, tmp_path: Path, changed: dict[str, float], quantity: str, words: str
) -> None:
    file = capture(
        tmp_path,
        "red.csv",
        CH1=RED.but(**changed),
        CH2=SYNC.but(**{k: v for k, v in changed.items() if k != "clip_high"}),
    )
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("white",), **AS_TAKEN
    )
    found = only(result, quantity)
    assert (found.outcome, found.needed, found.value) == (NOT_PROVEN, True, None)
    assert words in found.why


def test_wrong_timing_fails_the_line(engine: Engine, tmp_path: Path) -> None:
    """525 lines against 625-line limits: sync of 4.7 us fits, a period of 63.556 us (0.7 % short) is tolerated."""
    file = capture(tmp_path, "bars.csv", video=BARS.but(system=S525))
    result = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("bars-100",), **AS_TAKEN)
    assert only(result, "timing.line_period", "composite").outcome == CONFORMS
    burst = only(result, "burst.frequency", "composite")
    assert burst.outcome == DOES_NOT_CONFORM
    assert "whether the job names the standard of this unit" in (burst.remedy or "")
    assert result.outcome == DOES_NOT_CONFORM


def test_the_captured_line_is_drawn_against_its_template(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "bars.csv", video=BARS)
    result = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("bars-100",), **AS_TAKEN)
    measured, template = result.curves
    assert (measured.label, measured.picture, template.label) == ("measured", "waveform", "measured template")
    assert any(name.startswith("sync tip") for name in measured.marks)
    assert "burst" in measured.marks
    assert template.band is not None
    assert template.band[0] == pytest.approx(-0.9487, abs=0.02)  # 0.3 V +10 dB below blanking
    assert template.band[1] == pytest.approx(-0.2124, abs=0.02)  # 0.3 V -3 dB
    assert float(template.y.max()) == pytest.approx(0.7, abs=0.01)
    page = to_html(result)
    _, heading, drawn = page.partition(">What the captures show<")
    assert heading
    assert drawn.count("<svg") == 1  # what stands above it is the first screen's own picture


@pytest.mark.parametrize(
    ("uses", "more", "words"),
    [
        (("rde=f.csv",), {}, ["'rde' is not a line of this job", "did you mean 'red'"]),
        (("red",), {}, ["LINE=FILE"]),
        (("=f.csv",), {}, ["LINE=FILE"]),
        (("red=gone.csv",), {}, ["gone.csv"]),
        (("red={file}",), {}, ["several channels", "#CH1"]),
        (("red={file}#CH9",), {}, ["no channel 'CH9'", "CH1, CH2"]),
        (("red={file}",), {"sync": "CH7"}, ["several channels"]),
        (("red={file}",), {"picture": ("bars75",)}, ["'bars75'", "did you mean 'bars-75'"]),
        (("red={file}",), {"load": ("rod=open",)}, ["'rod' is not a line"]),
        (("red={file}",), {"picture": ("white", "other")}, ["two things"]),
    ],
)
def test_a_bad_capture_is_one_sentence(
    engine: Engine, tmp_path: Path, uses: tuple[str, ...], more: dict[str, object], words: list[str]
) -> None:
    file = capture(tmp_path, "two.csv", CH1=RED.but(duration=0.2e-3), CH2=SYNC.but(duration=0.2e-3))
    with pytest.raises((InputError, JobError)) as caught:
        run(engine, tmp_path, text(BACK_MATCHED), captures=tuple(use.format(file=file) for use in uses), **more)
    message = str(caught.value)
    assert "\n" not in message
    for word in words:
        assert word in message, message


def test_a_word_may_belong_to_one_line(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    result = run(
        engine,
        tmp_path,
        text(BACK_MATCHED),
        captures=(f"red={file}#CH1",),
        sync="CH2",
        picture=("other", "red=white"),
        load=("terminated",),
    )
    assert only(result, "level.white").outcome == CONFORMS


GREEN = BACK_MATCHED.replace('"red"', '"red", "green", "blue"')


def test_swapped_red_and_green_do_not_conform(engine: Engine, tmp_path: Path) -> None:
    """Each level is right and each line is the other's: only the order of the bars tells."""
    bars = SHORT.but(picture="bars")
    names = {"red": "green", "green": "red", "blue": "blue"}
    shots = {line: bars.but(kind=shown, seed=n) for n, (line, shown) in enumerate(names.items())}
    file = capture(tmp_path, "bars.csv", **shots, sync=SYNC)
    uses = tuple(f"{line}={file}#{line}" for line in names)
    taken = {"captures": uses, "sync": "sync", "picture": ("bars-100",), **AS_TAKEN}
    result = run(engine, tmp_path, text(GREEN), **taken)
    assert [only(result, "level.white", line).outcome for line in names] == [CONFORMS] * 3
    steps = {line: only(result, "picture.bars", line) for line in names}
    assert [steps[line].outcome for line in names] == [DOES_NOT_CONFORM, DOES_NOT_CONFORM, CONFORMS]
    assert "those of green" in steps["red"].why
    assert (steps["red"].remedy or "").startswith("follow red from its chip to its contact")
    assert not [one for one in result.not_examined if "own contact" in one]
    assert result.outcome == DOES_NOT_CONFORM


def as_saved(row: str) -> str:
    return row


def with_two_decimals(row: str) -> str:
    time, *volts = row.split(",")
    return ",".join([time, *(f"{float(value):.2f}" for value in volts)])


@pytest.mark.parametrize("skipped", [0, 7])
@pytest.mark.parametrize("written", [as_saved, with_two_decimals])
def test_one_trace_proves_one_line(engine: Engine, tmp_path: Path, written: Callable[[str], str], skipped: int) -> None:
    """A copy stays one when its first samples are left out, or when it was saved with fewer digits."""
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    head, *rows = (tmp_path / "red.csv").read_text(encoding="utf-8").splitlines()
    copied = "\n".join([head, *(written(row) for row in rows[skipped:])])
    (tmp_path / "copy.csv").write_text(f"{copied}\n", encoding="utf-8")
    for second in (file, str(tmp_path / "copy.csv")):
        with pytest.raises(InputError, match="sample for sample the trace given for red"):
            run(engine, tmp_path, text(GREEN), captures=(f"red={file}#CH1", f"green={second}#CH1"), sync="CH2")


def test_two_lines_of_one_picture_are_no_copies(engine: Engine, tmp_path: Path) -> None:
    """Same picture, same scope, same instant: only the noise of the two inputs differs, and that is enough."""
    file = capture(tmp_path, "both.csv", CH1=RED, CH2=SYNC, CH3=RED.but(seed=RED.seed + 1))
    uses = (f"red={file}#CH1", f"green={file}#CH3")
    result = run(engine, tmp_path, text(GREEN), captures=uses, sync="CH2", picture=("white",), **AS_TAKEN)
    assert [only(result, "level.white", line).outcome for line in ("red", "green")] == [CONFORMS, CONFORMS]


def test_hum_of_a_fifth_of_a_volt_does_not_conform(engine: Engine, tmp_path: Path) -> None:
    long = {"duration": 22e-3, "rate": 5e6}
    red = RED.but(**long, hum=0.2, full_scale=2.0)
    file = capture(tmp_path, "red.csv", CH1=red, CH2=SYNC.but(**long))
    result = run(
        engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), sync="CH2", picture=("white",), **AS_TAKEN
    )
    hum = only(result, "noise.hum")
    assert hum.value == pytest.approx(0.2, abs=0.01)
    assert (hum.outcome, result.outcome) == (DOES_NOT_CONFORM, DOES_NOT_CONFORM)
    assert "Hum was not seen" not in " ".join(result.not_examined)


AC = line(
    "red",
    source_values='white = "1 V", black = "0.3 V", impedance = "1 ohm"',
    stage="video-buffer-ac",
    stage_values="",
)


def test_a_line_behind_a_capacitor_owes_the_tilt_of_a_field(engine: Engine, tmp_path: Path) -> None:
    """Blanking of a line behind 22 uF sags far more than 10 % in a field; a short capture cannot show it."""
    file = capture(tmp_path, "red.csv", CH1=RED, CH2=SYNC)
    taken = {"captures": (f"red={file}",), "sync": "CH2", "picture": ("white",), **AS_TAKEN}
    short = only(run(engine, tmp_path, text(AC), **taken), "response.field_tilt")
    assert (short.outcome, short.needed) == (NOT_PROVEN, True)
    assert "two whole fields" in short.why
    long = {"duration": 44e-3, "rate": 4e6, "start": 3e-3}
    t, clean = waveform(RED.but(**long, bits=None))
    a = 22e-6 * 150 / (22e-6 * 150 + t[1])  # 22 uF where the job has 470 uF, behind 75 ohm into 75 ohm
    sagging = lfilter([a, -a], [1.0, -a], np.concatenate([clean[: round(0.04 / t[1])]] * 4 + [clean]))[-len(t) :]
    _, sync = waveform(SYNC.but(**long))
    (tmp_path / "two.csv").write_text(csv_text(t, {"CH1": sagging, "CH2": sync}), encoding="utf-8")
    small = run(engine, tmp_path, text(AC), **{**taken, "captures": (f"red={tmp_path / 'two.csv'}",)})
    tilt = only(small, "response.field_tilt")
    assert tilt.value == pytest.approx(np.tanh(20e-3 / (4 * 22e-6 * 150)), abs=0.01)
    assert (tilt.outcome, small.outcome) == (DOES_NOT_CONFORM, DOES_NOT_CONFORM)
    assert (tilt.planned or 1.0) < 0.1
    direct = run(engine, tmp_path, text(BACK_MATCHED), **taken)
    assert not [one for one in direct.findings if one.quantity == "response.field_tilt" and one.needed]


def test_a_mean_of_zero_hides_a_direct_voltage_even_if_dc_was_declared(engine: Engine, tmp_path: Path) -> None:
    """The plan has blanking at 2.5 V x 75 / 150; a trace that averages to 0 V was taken on AC coupling."""
    lifted = BACK_MATCHED.replace('white = "1.4 V"', 'white = "3.9 V", black = "2.5 V"')
    mean = 0.7 * 52 / 64
    file = capture(tmp_path, "red.csv", CH1=RED.but(offset=-mean), CH2=SYNC)
    result = run(engine, tmp_path, text(lifted), captures=(f"red={file}",), sync="CH2", picture=("white",), **AS_TAKEN)
    found = only(result, "level.blank")
    assert found.outcome == NOT_PROVEN
    assert "averages to 0 V" in found.why


def test_a_black_border_is_no_fault(engine: Engine, tmp_path: Path) -> None:
    """A picture with black at its left makes the back porch look long: too short is a fault, too long is none."""
    window = BARS.but(picture="window", rate=10e6)
    file = capture(tmp_path, "video.csv", video=window)
    result = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("bars-100",), **AS_TAKEN)
    for name in ("timing.front_porch", "timing.back_porch"):
        found = [one for one in result.findings if one.quantity == name]
        assert all(one.outcome != DOES_NOT_CONFORM for one in found)


@pytest.mark.parametrize(("late", "outcome"), [(2e-6, NOT_PROVEN), (0.0, CONFORMS), (-1.5e-6, DOES_NOT_CONFORM)])
def test_a_porch_is_proven_too_short_and_never_too_long(
    engine: Engine, tmp_path: Path, late: float, outcome: str
) -> None:
    """The white of a console may begin 2 us late, beside its border: 7.8 us of porch, as captured and as typed."""
    shot = BARS.but(picture="white", rate=10e6, system=replace(S625, active=S625.active + late))
    file = capture(tmp_path, "video.csv", video=shot)
    seen = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("white",), **AS_TAKEN)
    typed = reading("composite", "timing.back_porch", f"{5.8 + 1e6 * late:.2f} us", place="", load="", accuracy="1%")
    for result in (seen, run(engine, tmp_path, COMPOSITE, typed)):
        porch = only(result, "timing.back_porch", "composite")
        assert porch.value == pytest.approx(5.8e-6 + late, abs=0.05e-6)
        assert porch.outcome == outcome
        assert ("never too long" in porch.why) is (late > 0.0)


def test_facts_of_a_capture_stand_in_the_readings_file(engine: Engine, tmp_path: Path) -> None:
    file = capture(tmp_path, "red.csv", CH1=RED.but(gain=0.1, full_scale=0.16), CH2=SYNC)
    note = (
        '[[capture]]\nline = "red"\npicture = "white"\nload = "terminated"\nplace = "connector"\ncoupling = "dc"\n'
        'probe = "x10"\nscale_at = "input"\ntermination = "1%"\n'
    )
    found = only(run(engine, tmp_path, text(BACK_MATCHED), note, captures=(f"red={file}",), sync="CH2"), "level.white")
    assert found.value == pytest.approx(0.7, rel=0.01)
    assert found.outcome == CONFORMS


def test_time_base_and_vertical_scale_of_a_capture_are_taken_from_its_note(engine: Engine, tmp_path: Path) -> None:
    """0.5 ppm of 4.43361875 MHz are 2.2 Hz; a screen of 0.2 V a division ends at 0.8 V, where white is cut."""
    taken = 'picture = "{}"\nload = "terminated"\nplace = "display"\ncoupling = "dc"\n'
    note = f'[[capture]]\nline = "composite"\ntimebase = "0.5 ppm"\n{taken.format("bars-100")}'
    uses: tuple[str, ...] = (f"composite={capture(tmp_path, 'video.csv', video=BARS)}",)
    found = only(run(engine, tmp_path, COMPOSITE, note, captures=uses), "burst.frequency", "composite")
    assert found.uncertainty is not None
    assert found.uncertainty < 20.0
    cut = SHORT.but(kind="red", picture="white", gain=0.9 / 0.7, noise=0.0005, clip_high=0.8)
    uses = (f"red={capture(tmp_path, 'red.csv', CH1=cut, CH2=SYNC)}",)
    for scale, cut_off in (("200 mV/div", True), ("500 mV/div", False)):
        note = f'[[capture]]\nline = "red"\nscale = "{scale}"\noffset = "0 V"\n{taken.format("white")}'
        white = only(run(engine, tmp_path, text(BACK_MATCHED), note, captures=uses, sync="CH2"), "level.white")
        assert ("cut off by the edge of the screen" in white.why) is cut_off


@pytest.mark.parametrize(
    ("head", "outcome"), [("", CONFORMS), ("Coupling,AC\n", NOT_PROVEN), ("Coupling,DC\n", CONFORMS)]
)
def test_a_header_that_tells_of_ac_coupling_is_believed_against_what_is_said(
    engine: Engine, tmp_path: Path, head: str, outcome: str
) -> None:
    file = tmp_path / "video.csv"
    file.write_text(head + csv_text(*_video()), encoding="utf-8")
    result = run(engine, tmp_path, COMPOSITE, captures=(f"composite={file}",), picture=("bars-100",), **AS_TAKEN)
    blank = only(result, "level.blank", "composite")
    assert blank.outcome == outcome
    assert ("captured on AC coupling" in blank.why) is (outcome == NOT_PROVEN)


def _video() -> tuple[np.ndarray, dict[str, np.ndarray]]:
    time, volts = waveform(BARS.but(rate=10e6))
    return time, {"video": volts}


def test_a_dead_channel_lists_its_causes(engine: Engine, tmp_path: Path) -> None:
    """A declared white field and nothing on the line: white is 0 V, and every fault that kills a line explains it."""
    file = capture(tmp_path, "red.csv", CH1=RED.but(gain=0.0), CH2=SYNC)
    taken = {"sync": "CH2", "picture": ("white",), **AS_TAKEN}
    result = run(engine, tmp_path, text(BACK_MATCHED), captures=(f"red={file}",), **taken)
    white = only(result, "level.white")
    assert (white.outcome, white.value) == (DOES_NOT_CONFORM, 0.0)
    assert {"rs_stage 1 Gohm", "source 0", "line shunt 1 mohm"} <= set(causes(result))


def test_a_small_coupling_capacitor_is_named(engine: Engine, tmp_path: Path) -> None:
    """47 uF for 470 uF tilts tanh(20 ms / (4 x 47 uF x 150 ohm)) = 61 %; no level changes, only the field sags."""
    long = {"duration": 44e-3, "rate": 4e6, "start": 3e-3}
    t, clean = waveform(RED.but(**long, bits=None))
    a = 47e-6 * 150 / (47e-6 * 150 + t[1])
    sagging = lfilter([a, -a], [1.0, -a], np.concatenate([clean[: round(0.04 / t[1])]] * 6 + [clean]))[-len(t) :]
    (tmp_path / "two.csv").write_text(csv_text(t, {"CH1": sagging, "CH2": waveform(SYNC.but(**long))[1]}))
    taken = {"captures": (f"red={tmp_path / 'two.csv'}",), "sync": "CH2", "picture": ("white",), **AS_TAKEN}
    result = run(engine, tmp_path, text(AC), **taken)
    tilt = only(result, "response.field_tilt")
    assert tilt.value == pytest.approx(0.610, abs=0.02)
    assert causes(result) == ["cc_stage 47 uF"]
    assert "ten times too small: 47 uF" in tilt.why
