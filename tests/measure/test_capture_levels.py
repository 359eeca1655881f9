"""What a captured level proves: by load, picture, coupling and polarity; white and sync together. Worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from guardcheck.measure.capture.found import NO_SYNC, Content, Raw
from guardcheck.measure.capture.quantities import HIDDEN, TILTED
from guardcheck.measure.readings import Circumstances
from guardcheck.model import Quantity
from tests.measure.told import CASE, WHOLE, Told, alike

OPEN = replace(CASE, load="open")
CUT = Raw(None, failure="white is cut off by the edge of the screen")


# What hides a value --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("level.blank", HIDDEN),
        ("level.high", HIDDEN),
        ("level.low", HIDDEN),
        ("response.field_tilt", TILTED),
        ("level.white", None),
        ("noise.hum", None),
        ("timing.line_period", None),
    ],
)
def test_ac_coupling_hides_what_is_slow(name: str, said: str | None) -> None:
    """A level against 0 V is one whichever of its names it has: none is known until the coupling is."""
    values = {name.replace(".", "_", 1): 0.05, "level_sync": 0.3}
    hidden, undeclared, direct = (Told(replace(CASE, coupling=one), **values)[name] for one in ("ac", None, "dc"))
    assert hidden.failure == said
    assert hidden.value == undeclared.value == direct.value
    assert (direct.failure, undeclared.failure) == (None, None)
    assert undeclared.unknowns == (() if said is None else ("coupling",))
    assert hidden.unknowns == direct.unknowns == ()


@pytest.mark.parametrize(
    ("picture", "width", "period", "doubted"),
    [
        ("white", 34.9e-6, 64e-6, True),
        ("white", 35.1e-6, 64e-6, False),
        ("white", 17.4e-6, 32e-6, True),
        ("white", 17.6e-6, 32e-6, False),
        ("white", 35.0, 64.0, False),  # just 35 of 64
        ("bars-100", 6.5e-6, 64e-6, False),
        ("bars-75", 6.5e-6, 64e-6, False),
        (None, 6.5e-6, 64e-6, False),
        ("other", 6.5e-6, 64e-6, False),
    ],
)
def test_a_white_field_fills_the_line(picture: str | None, width: float, period: float, doubted: bool) -> None:
    told = Told(replace(CASE, picture=picture), content=Content(width=width, period=period), level_white=0.7)
    assert (told["level.white"].failure is not None) == doubted
    assert told["level.white"].value is not None
    assert told["level.pp"].failure == told["level.white"].failure


def test_what_is_said_of_a_white_field_that_does_not_fill_the_line() -> None:
    told = Told(content=Content(width=26e-6, period=64e-6), level_white=0.7)
    words = "the brightest part is 26 us long, not a white field of at least 35 us: if these are bars, declare them"
    assert told["level.white"].failure == words


@pytest.mark.parametrize(
    ("picture", "white", "black", "tilt"),
    [
        (None, False, True, True),
        ("other", False, True, True),
        ("white", True, True, False),
        ("bars-100", True, False, False),
    ],
)
def test_what_may_be_the_content_of_the_picture(picture: str | None, white: bool, black: bool, tilt: bool) -> None:
    """White of lines that differ, black of what is no bars, and the shape of what was not declared flat."""
    told = Told(
        replace(CASE, picture=picture), content=Content(uneven=True, width=52e-6), level_white=0.7, level_black=0.0,
        response_line_tilt=0.01, response_overshoot=0.02, response_field_tilt=0.03,
    )  # fmt: skip
    assert ("differs from line to line" in str(told["level.white"].failure)) == white
    assert ("only bars hold a known black" in str(told["level.black"].failure)) == black
    for name in ("response.line_tilt", "response.overshoot"):
        assert ("only a declared flat picture" in str(told[name].failure)) == tilt
    for name, doubt in (("level.white", white), ("level.black", black), ("response.line_tilt", tilt)):
        assert (told[name].failure is not None) == doubt
    assert told["response.field_tilt"].failure is None


@pytest.mark.parametrize(("picture", "doubted"), [(None, False), ("other", False), ("white", True), ("bars-100", True)])
def test_what_is_bright_on_some_lines_only_may_follow_field_sync(picture: str | None, doubted: bool) -> None:
    """White, and the envelope of chroma; nothing else is read off the brightest."""
    case, mixed = replace(CASE, picture=picture), replace(WHOLE, mixed=True)
    told = Told(case, content=mixed, level_white=0.7, level_sync=0.3, level_black=0.0)
    dark = Raw(None, failure="nothing brighter than blanking stands on this line")
    chroma = Told(case, content=mixed, has_picture=False, chroma=0.885, level_white=dark)
    for one in (told["level.white"], told["level.pp"], chroma["level.pp"]):
        assert one.value is not None
        assert ("its lines are not alike" in str(one.failure)) == doubted
    assert "not alike" not in f"{told['level.sync'].failure} {told['level.black'].failure}"


def test_what_was_seen_wrong_is_said_before_what_may_be() -> None:
    told = Told(picture_bars=Raw(0.1, 0.001, "no bars", note="These are red's."), level_black=Raw(0.0, 0.0, "too dark"))
    assert (told["picture.bars"].value, told["picture.bars"].failure) == (0.1, "no bars")
    assert told["picture.bars"].notes == ("These are red's.",)
    assert told["level.black"].failure == "too dark"


def test_a_bound_and_a_note_are_kept() -> None:
    told = Told(noise_hum=Raw(0.02, bound="at_least"), level_white=Raw(0.7, note="It rings."))
    assert (told["noise.hum"].bound, told["level.white"].bound) == ("at_least", None)
    assert told["level.white"].notes == ("It rings.",)


# The load ------------------------------------------------------------------------------------------------------------


def test_an_open_line_is_taken_into_75_ohm() -> None:
    """1.4 V behind 75 ohm +- 2: half of it; what the instrument errs by is halved too; 1.4 V x 75 / 150^2 per ohm."""
    case = replace(OPEN, circumstances=Circumstances(75.0, 2.0))
    told = Told(case, level_white=Raw(1.4, 0.002), level_blank=0.5)
    white = told["level.white"]
    assert white.value == pytest.approx(0.7)
    assert (white.notes, white.unknowns) == (("Raw 1400 mV with an open line.",), ())
    alike(
        told.rows("level.white"),
        [
            ("accuracy", 21.0),
            ("quantisation", 2.5),
            ("quantisation", 2.5),
            ("scatter", 1.0),
            ("output impedance", 1e3 * 2 * 1.4 * 75 / 150**2),
        ],
    )
    assert "does not tell the one into 75 ohm" in str(told["level.blank"].failure)
    assert told["level.blank"].value is None
    unknown = Told(replace(OPEN, circumstances=Circumstances()), level_white=1.4)["level.white"]
    assert "output impedance of the stage is not known" in str(unknown.failure)


@pytest.mark.parametrize(
    ("load", "place", "termination", "half", "unknowns"),
    [
        ("terminated", "display", None, 17.5, ()),
        ("terminated", "connector", None, 3.5, ()),
        ("terminated", "connector", 0.02, 7.0, ()),
        (None, "display", None, 17.5, ("load",)),
    ],
)
def test_a_load_is_wrong_by_its_tolerance(
    load: str | None, place: str, termination: float | None, half: float, unknowns: tuple[str, ...]
) -> None:
    told = Told(replace(CASE, load=load, place=place, termination=termination), level_white=0.7)
    assert dict(told.rows("level.white"))["75 ohm load"] == pytest.approx(half)
    assert (told["level.white"].unknowns, told["level.white"].notes) == (unknowns, ())


# The picture ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("black", "white", "setup", "expected"),
    [
        (0.0, 0.525, 0.0, 0.7),
        (0.05, 0.53, 0.075, 0.69),  # 0.05 + 0.48 / 0.75: the black that was seen
        (-0.03, 0.51, 0.0, 0.69),  # -0.03 + 0.54 / 0.75
        (None, 0.525, 0.0, 0.7),
        (None, 0.538125, 0.075, 0.7),  # 0.75 + 0.25 x 0.075 is 76.875 %: the black of the standard
    ],
)
def test_bars_of_three_quarters_are_scaled_above_black(
    black: float | None, white: float, setup: float, expected: float
) -> None:
    case = replace(CASE, picture="bars-75", circumstances=Circumstances(75.0, setup=setup))
    told = Told(case, level_white=Raw(white, 0.001), level_black=Raw(black, failure=None if black else "not seen"))
    one = told["level.white"]
    assert one.value == pytest.approx(expected)
    assert (one.bound, one.unknowns) == (None, ())
    assert one.notes == (f"Scaled from {100 * white / expected:.3g} % to 100 % white.",)
    assert dict(told.rows("level.white"))["scatter"] == pytest.approx(expected / white)


def test_what_stands_at_full_height_is_not_scaled_whatever_the_black() -> None:
    """Not even by the last bit of a number: it would be said that 100 % are 100 %."""
    for black in (-0.15, -0.149, -0.148, 0.0, 0.053):
        told = Told(replace(CASE, picture="bars-100"), level_white=0.3, level_black=black)
        assert (told["level.white"].value, told["level.white"].notes) == (0.3, ())


def test_what_is_scaled_is_what_stands_into_75_ohm() -> None:
    """0.1 and 1.06 V with an open line are 0.05 and 0.53 V into 75 ohm."""
    told = Told(replace(OPEN, picture="bars-75"), level_white=1.06, level_black=0.1)
    assert told["level.white"].value == pytest.approx(0.69)
    assert told["level.black"].value == pytest.approx(0.05)
    assert told["level.white"].notes == ("Raw 1060 mV with an open line.", "Scaled from 76.8 % to 100 % white.")


@pytest.mark.parametrize(
    ("picture", "following", "scaled"),
    [
        ("bars-75", 0.664, False),  # luma of yellow below a white bar of 100 %
        ("bars-75", 0.75, False),
        ("bars-75", 0.551, False),
        ("bars-75", 0.799, False),
        ("bars-75", 0.55, True),
        ("bars-75", 0.80, True),
        ("bars-75", 0.886, True),  # luma of yellow below a white bar of 75 %
        ("bars-75", 0.0, True),
        ("bars-75", None, True),
        ("bars-100", 0.886, False),
        ("white", 0.7, False),
    ],
)
def test_a_white_bar_of_full_height_in_bars_of_three_quarters(
    picture: str, following: float | None, scaled: bool
) -> None:
    told = Told(replace(CASE, picture=picture), content=replace(WHOLE, next_level=following), level_white=0.7)
    assert told["level.white"].value == pytest.approx(0.7 / 0.75 if scaled else 0.7)
    assert (told["level.white"].notes != ()) == scaled
    assert dict(told.rows("level.white"))["accuracy"] == pytest.approx(21.0 / 0.75 if scaled else 21.0)


@pytest.mark.parametrize("following", [0.6626, 0.8374])
def test_a_colour_difference_of_bars_is_scaled_from_blanking(following: float) -> None:
    """Pb and Pr of 75 % bars reach 262.5 mV either way: 350 mV at 100 % (SMPTE/EBU N10). The next level is no white."""
    case = replace(CASE, picture="bars-75", load="open")
    told = Told(case, content=replace(WHOLE, next_level=following), level_white=0.525, level_black=Raw(-0.525, 0.003))
    for name, value in (("level.white", 0.35), ("level.black", -0.35), ("level.pp", 0.7)):
        assert told[name].value == pytest.approx(value)
        assert "Scaled from 75 % to 100 % white." in told[name].notes
    assert dict(told.rows("level.black"))["scatter"] == pytest.approx(3 / 2 / 0.75)
    whole = Told(replace(CASE, picture="bars-100"), level_white=0.35, level_black=-0.35)
    assert [whole[name].value for name in ("level.white", "level.black", "level.pp")] == [0.35, -0.35, 0.7]


@pytest.mark.parametrize(
    ("black", "scaled", "white"),
    [
        (-0.303, -0.404, 0.8),  # both over 0.75
        (-0.3, -0.3, 0.9),  # just half: a black far off, and white 0.9 / 0.75 above it
        (-0.15, -0.15, 0.85),
    ],
)
def test_a_dark_bar_further_below_blanking_than_half_of_white_is_that_of_a_difference(
    black: float, scaled: float, white: float
) -> None:
    told = Told(replace(CASE, picture="bars-75"), level_white=0.6, level_black=black)
    assert told["level.black"].value == pytest.approx(scaled)
    assert told["level.white"].value == pytest.approx(white)


@pytest.mark.parametrize("picture", [None, "other"])
@pytest.mark.parametrize("following", [None, 0.7])
def test_white_of_an_unknown_picture_is_only_the_least(picture: str | None, following: float | None) -> None:
    told = Told(replace(CASE, picture=picture), content=replace(WHOLE, next_level=following), level_white=0.7,
                level_sync=0.3, level_black=0.1)  # fmt: skip
    for name, value in (("level.white", 0.7), ("level.pp", 1.0)):
        one = told[name]
        assert one.value == pytest.approx(value)
        assert (one.bound, one.unknowns) == ("at_least", ("picture",))
        assert one.notes[-1].startswith("The picture is ")
        assert "so 100 % white is no lower than this" in one.notes[-1]
    assert told["level.sync"].bound is None
    assert told["level.black"].value == 0.1


# Polarity ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("picture", "bound"), [("bars-100", None), (None, "at_most")])
def test_the_amplitudes_of_an_inverted_line_are_negative(picture: str | None, bound: str | None) -> None:
    values = {"level_white": 0.7, "level_black": 0.05, "level_sync": 0.3, "level_blank": 0.5, "noise_hum": 0.02}
    told = Told(replace(CASE, picture=picture), sign=-1, **values)
    names = ("level.white", "level.black", "level.sync", "level.blank", "noise.hum")
    assert [told[name].value for name in names] == [-0.7, -0.05, -0.3, 0.5, 0.02]
    assert told["level.white"].bound == bound
    assert told["level.pp"].value == pytest.approx(1.0)


def test_the_height_of_an_inverted_line_is_no_lower_than_what_a_dark_picture_shows() -> None:
    """Its white is at most -0.7 V, so from tip to white it is at least 1 V."""
    told = Told(replace(CASE, picture=None), sign=-1, level_white=0.7, level_sync=0.3)
    assert (told["level.white"].bound, told["level.pp"].bound) == ("at_most", "at_least")


def test_positive_sync_alone_is_no_amplitude_of_the_standard() -> None:
    told = Told(sign=-1, has_picture=False, level_sync=0.3, level_high=0.5, chroma=0.3)
    assert told["level.sync"].value is None
    assert "sync goes positive" in str(told["level.sync"].failure)
    assert told["level.high"].value == 0.5
    assert told["level.pp"].failure == told["level.sync"].failure


# Peak to peak --------------------------------------------------------------------------------------------------------


def expanded(uniform: list[float], normal: list[float]) -> float:
    """Return k = 2 of half-widths and standard deviations in millivolts, in volts."""
    return 2e-3 * math.sqrt(sum(one**2 for one in uniform) / 3 + sum(one**2 for one in normal))


def test_white_and_sync_are_wrong_by_the_same_gain() -> None:
    """0.7 and 0.3 V: 3 % and 2 % of 1 V, half of 5 % of it; each has its own rounding and scatter."""
    told = Told(replace(CASE, probe=10.0), level_white=Raw(0.7, 0.002), level_sync=Raw(0.3, 0.001))
    assert told["level.pp"].value == pytest.approx(1.0)
    rounded = [("quantisation", 5.0), ("quantisation", 5.0)]
    alike(
        told.rows("level.pp"),
        [("accuracy", 30.0), ("probe", 20.0), ("75 ohm load", 25.0), *rounded, ("scatter", 2.0), *rounded,
         ("scatter", 1.0)],
    )  # fmt: skip
    assert told["level.pp"].uncertainty == pytest.approx(expanded([30, 20, 25, 5, 5, 5, 5], [2, 1]))
    assert told.row("level.pp", "accuracy").source == told.row("level.white", "accuracy").source
    assert told.row("level.pp", "accuracy").distribution == "uniform"


def test_what_is_scaled_is_added_as_it_stands() -> None:
    """1.4 and 0.6 V with an open line behind 75 ohm +- 2: 75 x 2 V / 150^2 per ohm, and half of 3 % of 2 V."""
    case = replace(OPEN, circumstances=Circumstances(75.0, 2.0))
    rows = dict(Told(case, level_white=1.4, level_sync=0.6).rows("level.pp"))
    assert rows["accuracy"] == pytest.approx(30.0)
    assert rows["output impedance"] == pytest.approx(1e3 * 2 * 2.0 * 75 / 150**2)


def without_sync(**values: Raw | float) -> Told:
    return Told(replace(CASE, picture="bars-100"), **values)


def test_a_line_without_sync_reaches_from_its_darkest_to_white() -> None:
    """+350 and -350 mV of a colour difference (SMPTE/EBU N10): 3 % of 700 mV, and the rounding of either level."""
    told = without_sync(level_white=Raw(0.35, 0.002), level_black=Raw(-0.35, 0.001))
    assert told["level.pp"].value == pytest.approx(0.7)
    assert told["level.pp"].uncertainty == pytest.approx(expanded([21, 17.5, 5, 5, 5, 5], [2, 1]))
    for black in (0.0, 0.05):  # blanking is the darkest
        plain = without_sync(level_white=Raw(0.35, 0.002), level_black=Raw(black, 0.001))
        assert plain["level.pp"].value == pytest.approx(0.35)
        assert plain["level.pp"].uncertainty == pytest.approx(expanded([10.5, 8.75, 5, 5], [2]))
    beside = without_sync(level_white=0.7, level_black=-0.1, level_sync=0.3)
    assert beside["level.pp"].value == pytest.approx(1.0)  # the tip is lower


def test_a_lost_level_leaves_no_height() -> None:
    for values, said in (
        ({"level_white": CUT, "level_sync": 0.3}, CUT.failure),
        ({"level_white": 0.7, "level_sync": Raw(None, failure="the sync tip is cut off")}, "the sync tip is cut off"),
        ({"level_white": CUT, "level_sync": Raw(None, failure="the sync tip is cut off")}, CUT.failure),
        ({"level_white": CUT}, CUT.failure),
        ({"level_white": CUT, "chroma": 0.885}, CUT.failure),  # chroma is no height of a line with a picture
        ({"level_white": Raw(None)}, "not found"),
    ):
        told = without_sync(**values)  # type: ignore[arg-type]
        assert (told["level.pp"].value, told["level.pp"].failure) == (None, said)
        assert "level.pp" not in told.budgets


def test_a_line_of_chroma_alone_is_as_high_as_its_envelope() -> None:
    """885 mV, known to a hundredth; 3 % of it, half of 5 %, and the rounding of either end."""
    dark = Raw(None, failure="nothing brighter than blanking stands on this line")
    told = without_sync(level_white=dark, has_picture=False, chroma=0.885)
    assert told["level.pp"].notes == ()
    assert told["level.pp"].value == 0.885
    assert told["level.pp"].uncertainty == pytest.approx(expanded([26.55, 22.125, 5, 5], [8.85]))
    assert without_sync(level_white=dark, has_picture=False)["level.pp"].failure == dark.failure
    lost = Raw(None, failure="the sync tip is cut off")
    for sync, value, said in ((Raw(0.3), 0.3, None), (lost, None, "the sync tip is cut off")):  # a burst beside sync
        one = without_sync(level_white=dark, has_picture=False, level_sync=sync, chroma=0.3)["level.pp"]
        assert (one.value, one.failure) == (value, said)


def sync_alone(picture: str | None, signal: str, load: str | None = "terminated") -> Quantity:
    case = replace(CASE, picture=picture, load=load, circumstances=Circumstances(75.0, signal=signal))
    return Told(case, has_picture=False, level_sync=Raw(0.3, 0.001))["level.pp"]


def test_sync_alone_is_the_whole_height_of_a_line_of_sync() -> None:
    one = sync_alone(None, "sync")
    assert (one.value, one.bound, one.unknowns, one.notes) == (0.3, None, (), ())
    assert one.uncertainty == pytest.approx(expanded([9, 7.5, 5, 5], [1]))
    assert sync_alone(None, "sync", load=None).unknowns == ("load",)


def test_sync_under_a_picture_nobody_declared_is_only_the_least_height() -> None:
    for picture in (None, "other"):
        one = sync_alone(picture, "picture")
        assert (one.value, one.bound, one.unknowns) == (0.3, "at_least", ("picture",))
        assert "no lower than this" in one.notes[-1]
    declared = sync_alone("white", "picture")
    assert (declared.value, declared.bound, declared.unknowns) == (0.3, None, ())


def test_an_unknown_of_either_part_is_one_of_both() -> None:
    one = Told(replace(CASE, picture=None, load=None), level_white=0.7, level_sync=0.3)["level.pp"]
    assert one.unknowns == ("load", "picture")
    assert NO_SYNC not in str(one.failure)
