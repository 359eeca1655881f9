"""From a capture to quantities: what is looked at, what is said of the whole, and why nothing could be found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.errors import InputError
from guardcheck.measure.capture import NAMES, Analysis, Capture, Settings, analyse
from guardcheck.measure.capture.analyse import _at_tip, _no_sync, _reduced, _Scene, _screen, _too_short, _undersampled
from guardcheck.measure.capture.clipping import Screen
from guardcheck.measure.capture.fieldsync import NO_LINE
from guardcheck.measure.capture.found import NO_SYNC, Content, Found, Raw
from guardcheck.measure.capture.header import ChannelFacts
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.slicer import Pulses
from guardcheck.measure.capture.systems import System
from guardcheck.measure.readings import Circumstances
from tests.measure.drawn import L15, VGA, Array, bar, capture, drawn, in_order, pulse
from tests.measure.still import DARK, LOW, S625, US, array

KNOWN = Settings(picture="white", load="terminated", place="display", coupling="dc", circumstances=Circumstances(75.0))
SYNC = replace(KNOWN, picture=None, circumstances=Circumstances(75.0, signal="sync"))
LUMA = in_order(pulse(4.7, 0.1, -0.2, 0.2) + bar(10.5, 62.5, 0.1, 0.8, 0.3), L15)
RED = in_order(bar(10.5, 62.5, 0.1, 0.8, 0.3), L15)


def lines(
    corners: list[tuple[float, float]], *, rate: float = 20.0, noise: float = 0.003, count: float = 12.3
) -> Array:
    return drawn(corners, L15, rate=rate, lines=count, noise=noise)


def taken(volts: Array, facts: ChannelFacts | None = None, rate: float = 20.0) -> Capture:
    one = capture(rate, Y=volts)
    return replace(one, facts={"Y": facts} if facts else {})


def of(volts: Array, settings: Settings = KNOWN, **channels: Array) -> Analysis:
    sync = next(iter(channels), None)
    return analyse(capture(20.0, Y=volts, **channels), "y", sync_channel=sync, settings=settings)


# Which samples are looked at -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "count", "looked", "group", "note"),
    [
        (10.0, 10_000, 10_000, 1, None),  # 100 ms in steps of 10 us
        (10.0, 10_001, 10_000, 1, "only the first 100 ms of 100 ms were looked at"),
        (10.0, 23_456, 10_000, 1, "only the first 100 ms of 234.6 ms were looked at"),
        (0.0125, 1000, 1000, 1, None),
        (0.005, 1001, 1000, 2, None),  # two of 5 ns are 10 ns, three would be more than 12.5
        (0.004, 1001, 999, 3, None),
        (0.00625, 1000, 1000, 2, None),
    ],
)
def test_a_tenth_of_a_second_is_looked_at_in_steps_of_12_5_ns(
    step: float, count: int, looked: int, group: int, note: str | None
) -> None:
    one = taken(np.arange(float(count)), rate=1 / step)
    volts, seen, notes = _reduced(replace(one, notes=("read",)), "Y")
    assert seen == pytest.approx(group * step * US)
    assert notes == ("read",) if note is None else notes == ("read", note)
    assert volts.tolist() == [group * i + (group - 1) / 2 for i in range(looked // group)]
    assert (volts is one.volts["Y"]) == (group == 1 and note is None)


def test_a_channel_is_named_in_whatever_case_and_may_be_left_out_when_it_is_the_only_one() -> None:
    one = capture(20.0, Luma=lines(LUMA))
    for name in (None, "Luma", "LUMA"):
        assert analyse(one, name, settings=KNOWN).channel == "Luma"
    two = capture(20.0, Luma=lines(LUMA), Red=lines(RED))
    assert analyse(two, "red", sync_channel="luma", settings=KNOWN).channel == "Red"
    with pytest.raises(InputError, match="several channels; say which of"):
        analyse(two)
    with pytest.raises(InputError, match="there is no channel 'rot'"):
        analyse(two, "rot")
    with pytest.raises(InputError, match="there is no channel 'rot'"):
        analyse(two, "red", sync_channel="rot")


# The probe and the screen --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probe", "scale_at", "told", "factor"),
    [
        (None, None, None, 1.0),
        (1.0, None, None, 1.0),
        (1.0, None, 10.0, 0.1),
        (1.0, "tip", None, 1.0),
        (10.0, "tip", None, 1.0),
        (10.0, "tip", 10.0, 1.0),
        (10.0, "input", None, 10.0),
        (10.0, "input", 1.0, 10.0),
        (10.0, None, 1.0, 10.0),
        (10.0, None, 10.0, 1.0),
        (100.0, None, 10.0, 10.0),
        (10.0, None, None, None),
    ],
)
def test_what_the_samples_are_multiplied_by(
    probe: float | None, scale_at: str | None, told: float | None, factor: float | None
) -> None:
    one = taken(array(0, 1), ChannelFacts(probe=told))
    found = _at_tip(one, "Y", Settings(probe=probe, scale_at=scale_at))
    words = 'a probe of x10 is declared, but not whether the scope knew: add scale_at = "tip" or "input"'
    assert found == (words if factor is None else pytest.approx(factor))
    assert _at_tip(taken(array(0, 1)), "Y", Settings(probe=1.5)) == words.replace("x10", "x1.5")


@pytest.mark.parametrize(
    ("probe", "scale_at", "told"), [(1.0, "input", 10.0), (10.0, "tip", 1.0), (10.0, "input", 2.0), (1.0, "tip", 10.0)]
)
def test_what_is_said_of_a_probe_against_the_file_tells_nothing(probe: float, scale_at: str, told: float) -> None:
    found = _at_tip(taken(array(0, 1), ChannelFacts(probe=told)), "Y", Settings(probe=probe, scale_at=scale_at))
    assert found == (
        f"the file says that the scope counted a probe of x{told:g}, and x{probe:g} with the scale at the probe's "
        f"{scale_at} is declared: look at probe and channel setting, then say what they are"
    )


@pytest.mark.parametrize(
    ("facts", "declared", "factor", "screen"),
    [
        (ChannelFacts(), {}, 1.0, None),
        (ChannelFacts(offset=0.2), {"offset": 0.1}, 1.0, None),
        (ChannelFacts(division=0.5), {}, 1.0, Screen(0.5)),
        (ChannelFacts(division=0.5, offset=0.25), {}, 4.0, Screen(2.0, 1.0)),
        (ChannelFacts(division=0.5, offset=0.0), {}, 4.0, Screen(2.0, 0.0)),
        (ChannelFacts(division=0.5, offset=0.25), {"division": 0.125}, 4.0, Screen(0.5, 1.0)),
        (ChannelFacts(division=0.5, offset=0.25), {"offset": 0.125}, 4.0, Screen(2.0, 0.5)),
        (ChannelFacts(division=0.5, offset=0.25), {"offset": 0.0}, 4.0, Screen(2.0, 0.0)),
        (ChannelFacts(), {"division": 0.25, "offset": -0.5}, 2.0, Screen(0.5, -1.0)),
        (ChannelFacts(), {"division": 0.25}, 2.0, Screen(0.5)),
    ],
)
def test_the_screen_at_the_tip_of_the_probe(
    facts: ChannelFacts, declared: dict[str, float], factor: float, screen: Screen | None
) -> None:
    """What is declared outweighs the file; both are said as the samples count, before the probe."""
    assert _screen(taken(array(0, 1), facts), "Y", Settings(**declared), factor) == screen  # type: ignore[arg-type]


@pytest.mark.parametrize(("division", "words"), [(0.02, "is cut off by the edge of the screen"), (0.03, None)])
def test_a_declared_scale_is_that_of_the_samples_whatever_the_probe(division: float, words: str | None) -> None:
    """A probe of x10 the scope was not told of: 0.8 V are 80 mV, four divisions of 20 mV from the middle."""
    volts = np.minimum(lines(LUMA, noise=0.0), 0.8) / 10
    settings = replace(KNOWN, probe=10.0, scale_at="input", division=division, offset=0.0)
    found = of(volts, settings)
    white = found.quantity("level.white")
    assert white.failure == (None if words is None else f"white {words}")
    assert white.value == (None if words else pytest.approx(0.7, rel=0.01))
    assert "times 10 for the probe" in found.notes


def test_the_scale_at_the_tip_of_the_probe_tells_how_far_blanking_may_be_off() -> None:
    """A tenth of a division and 1 mV, as data sheets of oscilloscopes have it: of 0.2 V at the tip, 21 mV."""
    settings = replace(KNOWN, probe=10.0, scale_at="input", division=0.02)
    rows = of(lines(LUMA) / 10, settings).budgets["level.blank"].contributions
    assert [row.half_width for row in rows if row.name == "offset"] == [pytest.approx(0.021)]


def test_a_probe_that_is_told_nothing_of_proves_nothing() -> None:
    found = of(lines(LUMA), replace(KNOWN, probe=10.0))
    assert {one.name for one in found.quantities} == set(NAMES)
    assert all("scale_at" in str(one.failure) and one.value is None for one in found.quantities)
    assert (found.template, found.budgets) == (None, {})


def test_a_step_of_the_trace_is_multiplied_as_well() -> None:
    volts = np.round(lines(LUMA, noise=0.0) * 100) / 100
    steps = []
    for probe in (None, 10.0):
        found = of(volts, replace(KNOWN, probe=probe, scale_at="input", division=1.0, offset=0.0))
        (row, _) = [one for one in found.budgets["level.sync"].contributions if one.name == "quantisation"]
        steps.append(row.half_width)
    assert 0.003 < steps[0] < 0.006  # up to half of 10 mV
    assert steps[1] == pytest.approx(10 * steps[0])


# What is said of the whole -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
def test_a_line_with_picture(sign: int) -> None:
    volts = sign * lines(LUMA)
    found = of(volts)
    assert (found.system, found.scan, found.least) == ("625", None, None)
    assert found.polarity == ("negative" if sign > 0 else "positive")
    assert found.mean == pytest.approx(volts.mean(), abs=1e-6)
    assert found.span == pytest.approx(volts.max() - volts.min(), abs=1e-6)
    assert found.termination == "levels fit one load of 75 ohm"
    assert found.notes == (() if sign > 0 else ("sync goes positive: the line is inverted",))
    assert found.quantity("level.white").value == pytest.approx(sign * 0.7, abs=2e-3)
    assert found.quantity("level.sync").value == pytest.approx(sign * 0.3, abs=2e-3)
    assert found.template is not None
    inside = (found.template.x > 20e-6) & (found.template.x < 50e-6)
    assert np.median(found.template.y[inside]) == pytest.approx(sign * 0.8, abs=2e-3)


def test_red_is_never_turned_over_by_the_sync_it_is_cut_at() -> None:
    red = lines(RED)
    for sign in (1, -1):
        found = of(red, S=sign * lines(in_order(DARK, L15)))
        assert found.quantity("level.white").value == pytest.approx(0.7, abs=2e-3)
        assert found.quantity("level.sync").failure == NO_SYNC
        assert found.polarity == ("negative" if sign > 0 else "positive")
        assert found.notes == ()
        assert found.template is not None
        assert np.median(found.template.y[(found.template.x > 20e-6)]) == pytest.approx(0.8, abs=3e-3)


@pytest.mark.parametrize("noise", [0.004, 0.0])
def test_red_whose_blanking_lies_below_the_screen_proves_no_level(noise: float) -> None:
    """The screen ends at 0.2 V, 0.1 V above blanking: white would seem to be 0.6 V."""
    found = of(np.maximum(lines(RED, noise=noise), 0.2), S=lines(in_order(DARK, L15)))
    levels = [f"level.{name}" for name in ("white", "black", "blank", "pp")]
    for name in (*levels, "noise.rms", "noise.hum", "response.field_tilt"):
        assert found.quantity(name).value is None, name
        assert "blanking stands at the very end of the trace" in str(found.quantity(name).failure)


def test_bars_are_looked_for_where_they_were_declared() -> None:
    for picture, words in (
        ("white", "were not declared"),
        ("bars-100", "cannot be seen"),
        ("bars-75", "cannot be seen"),
    ):
        found = of(lines(in_order(DARK, L15)), replace(KNOWN, picture=picture, component="luma"))
        assert words in str(found.quantity("picture.bars").failure)


def test_a_line_without_picture_says_how_small_one_could_have_been() -> None:
    volts = lines(in_order(DARK, L15))
    found = of(volts)
    assert found.least == pytest.approx(0.015, rel=0.03)  # 5 % of 0.3 V
    assert found.termination is None


def test_nothing_is_known_unless_it_is_said() -> None:
    found = analyse(capture(20.0, Y=lines(LUMA)))
    assert found.quantity("level.white").unknowns == ("load", "picture")


# Why nothing was found -----------------------------------------------------------------------------------------------


def test_a_trace_without_sync_says_so_with_its_span() -> None:
    flat = lines([(0.0, 2.0), (30.0, 2.0)], noise=0.01)
    found = of(flat)
    known = "no line sync of 15.4 to 16 kHz or 30.8 to 32 kHz"  # 65 to 62.5 us, and half of that
    assert {one.failure for one in found.quantities} == {f"{known} was found on it; give the channel that carries sync"}
    assert {one.name for one in found.quantities} == set(NAMES)
    assert found.span == pytest.approx(flat.max() - flat.min(), abs=1e-6)
    assert _no_sync("S") == f"{known} was found on channel 'S'"
    found = of(lines(LUMA), S=flat)
    assert {one.failure for one in found.quantities} == {f"{known} was found on channel 'S'"}
    assert (found.template, found.budgets) == (None, {})


@pytest.mark.parametrize(
    ("step", "scale", "words"),
    [
        (0.26e-6, 1.0, None),
        (0.261e-6, 1.0, "undersampled: 3.83 MHz; these scan lines need at least 4 MHz"),
        (0.4e-6, 1.0, "undersampled: 2.5 MHz; these scan lines need at least 4 MHz"),
        (0.13e-6, 0.5, None),
        (0.2e-6, 0.5, "undersampled: 5 MHz; these scan lines need at least 8 MHz"),
    ],
)
def test_four_megahertz_show_lines_of_15_khz(step: float, scale: float, words: str | None) -> None:
    assert _undersampled(step, scale) == words
    if scale == 1.0:
        assert _undersampled(step) == words


def test_a_coarse_trace_says_so_first() -> None:
    for rate, corners, period, words in (
        (2.0, LUMA, L15, "undersampled: 2 MHz; these scan lines need at least 4 MHz"),
        (
            5.0,
            in_order(pulse(3.8, 4.6, 0.2, 0.2), VGA),
            VGA,
            "undersampled: 5 MHz; these scan lines need at least 8 MHz",
        ),
    ):
        volts = drawn(corners, period, rate=rate, lines=40.3, noise=0.003)
        found = analyse(taken(volts, rate=rate), settings=KNOWN)
        assert {one.failure for one in found.quantities} == {words}


def test_four_lines_of_65_us_are_the_least() -> None:
    """Three that are whole, and one for where they begin."""
    assert _too_short(4 * 65e-6) is None
    words = "too short: {} us hold {} scan lines of 15 kHz; at least 4 are needed"
    assert _too_short(0.9 * 4 * 65e-6) == words.format("234", "3.6")
    assert _too_short(0.999 * 4 * 65e-6) is not None
    assert _too_short(130e-6) == words.format("130", "2")
    found = of(lines([(0.0, 2.0), (30.0, 2.0)], count=2.0))
    assert {one.failure for one in found.quantities} == {words.format("128", "2")}


def test_lines_that_do_not_follow_each_other_show_nothing() -> None:
    """Two lines, one that is lost, two more: three edges are found, but no two whole lines in a row."""
    volts = lines(LUMA, count=4.3)
    found = of(volts)
    assert found.lines == 3
    field = drawn(in_order(pulse(63.6, 0.3, 0.0, 1.0), 16_000), 16_000, rate=20.0, lines=0.1)
    assert all(one.value is None for one in of(field).quantities)


# Field sync alone ----------------------------------------------------------------------------------------------------


def once_a_field(sign: int) -> Array:
    return 2.4 + sign * drawn(in_order(pulse(200, 2.2, -2.2, 2.0), 16_000), 16_000, rate=1.0, lines=2.6, noise=0.02)


@pytest.mark.parametrize("sign", [1, -1])
def test_field_sync_alone(sign: int) -> None:
    volts = once_a_field(sign)
    found = analyse(taken(volts, rate=1.0), settings=SYNC)
    assert (found.polarity, found.lines, found.template) == ("negative" if sign > 0 else "positive", 2, None)
    assert found.notes == ("field sync alone: two levels, no lines",)
    assert found.mean == pytest.approx(volts.mean(), abs=1e-5)
    assert found.span == pytest.approx(volts.max() - volts.min(), abs=1e-5)
    assert [one.name for one in found.quantities] == list(NAMES)
    for name, level in (("high", 4.6), ("low", 0.2)):
        assert found.quantity(f"level.{name}").value == pytest.approx(level, abs=5e-3)
    valued = {one.name for one in found.quantities if one.value is not None}
    assert set(found.budgets) == valued
    assert "noise.rms" not in valued
    for name in ("noise.rms", "noise.hum", "timing.line_period", "level.white"):
        assert found.quantity(name).failure == NO_LINE, name


def test_field_sync_is_looked_for_only_on_a_line_of_sync_that_carries_its_own() -> None:
    volts = once_a_field(1)
    assert all(one.value is None for one in analyse(taken(volts, rate=1.0), settings=KNOWN).quantities)
    two = capture(1.0, Y=volts, S=volts)
    assert all(one.value is None for one in analyse(two, "Y", sync_channel="S", settings=SYNC).quantities)
    video = lines(LUMA)
    assert of(video, SYNC).quantity("timing.line_period").value == pytest.approx(64e-6, rel=1e-4)


# What can be said in words -------------------------------------------------------------------------------------------


def scene(
    *,
    period: float = 64.0,
    system: System | None = S625,
    fields: tuple[float, ...] = (),
    sign: int = 1,
    own: bool = True,
    sync: float | None = None,
    white: float | None = None,
    chroma: float | None = None,
    has_picture: bool = True,
) -> _Scene:
    """Return a scene with field syncs 30 us wide at these times [us]."""
    raw = {"level.sync": Raw(sync), "level.white": Raw(white)}
    fold = Folded(array(0, 1), array(0, 0), np.zeros(2, dtype=np.int64), array(0, 0))
    one = Found(raw, fold, {}, {}, 0.0, 3, 0.0, has_picture, Content(), chroma)
    starts = np.asarray(array(*fields) * US, dtype=np.float64)
    return _Scene(one, system, Pulses(starts, starts + 30 * US, sign, 0.3, LOW), period * US, 4.7 * US, own)


def test_lines_between_field_syncs_tell_interlaced_from_not() -> None:
    """312.5 lines of 64 us are 20 ms; 312 of them 19.968 ms."""
    assert scene().scan() is None
    assert scene(fields=(100.0,)).scan() is None
    assert scene(fields=(100.0, 20_100.0)).scan() == "interlaced"
    assert scene(fields=(100.0, 20_068.0)).scan() == "non-interlaced"
    assert scene(fields=(100.0, 20_100.0, 40_100.0, 55_000.0)).scan() == "interlaced"
    for count, words in ((262.5, "interlaced"), (262.0, "non-interlaced"), (263.0, "non-interlaced")):
        assert scene(period=60.0, fields=(100.0, 100.0 + count * 60.0)).scan() == words
    assert scene(fields=(100.0, 20_068.0)).notes("video") == ("not interlaced: 312 lines in a field",)
    assert scene(fields=(100.0, 20_100.0)).notes("video") == ()


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (0.549, None),
        (0.55, "two thirds"),
        (0.78, "two thirds"),
        (0.781, None),
        (0.849, None),
        (0.85, "fit one load of 75 ohm"),
        (1.0, "fit one load of 75 ohm"),
        (1.18, "fit one load of 75 ohm"),
        (1.181, None),
        (1.599, None),
        (1.6, "about twice"),
        (2.0, "about twice"),
        (2.4, "about twice"),
        (2.401, None),
    ],
)
def test_what_the_height_of_sync_hints_at(ratio: float, words: str | None) -> None:
    """Sync of nominally 1 V, so that its height is the ratio itself."""
    system = replace(S625, sync=1.0)
    for height in (ratio, -ratio):
        said = scene(system=system, sync=height).termination()
        assert said is None if words is None else words in str(said)
    half = scene(system=replace(S625, sync=0.5), sync=ratio / 2).termination()
    assert half is None if words is None else words in str(half)
    assert scene(system=None, sync=ratio).termination() is None
    assert scene(system=system, sync=ratio, has_picture=False).termination() is None
    assert scene(system=system).termination() is None


def test_a_turned_line_is_said() -> None:
    inverted = "sync goes positive: the line is inverted"
    assert scene(sign=-1).notes("video") == (inverted,)
    assert scene(sign=-1).notes("sync") == ("sync goes positive",)
    assert scene(sign=1).notes("sync") == ()
    assert scene(sign=-1, own=False).notes("video") == ()
    assert (scene(sign=-1).sign, scene(sign=1).sign, scene(sign=-1, own=False).sign) == (-1, 1, 1)


@pytest.mark.parametrize(
    ("off", "words"),
    [
        (0.00029, None),
        (-0.00029, None),
        (0.00031, "the line period is +0.03 % off the 625-line system's, as non-interlaced sources often are"),
        (-0.00031, "the line period is -0.03 % off the 625-line system's, as non-interlaced sources often are"),
        (0.25, "the line period is +25.00 % off the 625-line system's, as non-interlaced sources often are"),
    ],
)
def test_a_line_period_off_the_system_is_said(off: float, words: str | None) -> None:
    assert scene(period=64 * (1 + off)).notes("video") == (() if words is None else (words,))


def test_a_line_period_of_no_system_is_said() -> None:
    said = scene(period=62.625, system=None).notes("video")
    assert said == ("a line period of 62.62 us is that of no system known here",)


def test_chroma_beside_a_white_level_is_said() -> None:
    words = "chroma reaches 885 mV peak to peak, beside the levels given here"
    assert scene(chroma=0.885, white=0.7).notes("video") == (words,)
    for chroma, white in ((0.885, None), (None, 0.7), (0.0, 0.7)):
        assert scene(chroma=chroma, white=white).notes("video") == ()
