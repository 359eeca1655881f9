"""Job values meeting parts: two readings, wires, ranges, and the values a deck may or may not hold."""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError
from tests.pipeline.jobs import finding, line, run, text


# circuit law: unloaded / loaded = (Zout + RL) / RL: 2.0 is a matched source
@pytest.mark.parametrize(("open_", "loaded", "ohms"), [("1.4 V", "0.7 V", 75.0), ("1.4 V", "1.1 V", 20.45)])
def test_impedance_from_two_readings(engine: Engine, open_: str, loaded: str, ohms: float) -> None:
    values = f'open_white = "{open_} 1%", loaded_white = "{loaded} 1%", load = "75 ohm"'
    result = run(engine, text(line(source_values=values, stage="pass-through", stage_values="")))
    assert finding(result, "response.impedance").value == pytest.approx(ohms, abs=0.1)
    assert finding(result, "level.white").value == pytest.approx(float(loaded.split()[0]), abs=2e-3)


@pytest.mark.parametrize(
    ("stage", "low", "high"),
    [
        ('stage = "pass-through"', 0.97 * 0.7, 1.03 * 0.7),  # into the very load it was read with: the reading itself
        ('stage = "series-resistor"\nstage_values = { series = "75 ohm" }', None, None),
    ],
)
def test_the_corners_are_those_of_the_two_readings(
    engine: Engine, stage: str, low: float | None, high: float | None
) -> None:
    """Circuit law, e and l each within 3 %: V = e 75 / (75 + R + 75 (e / l - 1)) is 1 / ((R / 75) / e + 1 / l)."""
    values = 'open_white = "1.4 V 3%", loaded_white = "0.7 V 3%", load = "75 ohm"'
    job = text(
        line(source_values=values).replace('stage = "series-resistor"\nstage_values = { series = "74 ohm" }', stage)
    )
    found = finding(run(engine, job), "level.white")
    share = 0.0 if low is not None else 1.0
    corners = [1 / (share / (1.4 * a) + 1 / (0.7 * b)) for a in (0.97, 1.03) for b in (0.97, 1.03)]
    assert found.spread is not None
    assert found.spread == pytest.approx((low or min(corners), high or max(corners)), rel=2e-3)


def test_a_stiff_source_may_be_described_by_two_readings(engine: Engine) -> None:
    values = 'open_white = "1.40 V", loaded_white = "1.38 V", load = "75 ohm"'
    result = run(engine, text(line(source_values=values)))
    assert finding(result, "level.white").value == pytest.approx(0.7, abs=0.01)


def test_no_impedance_is_a_wire(engine: Engine) -> None:
    job = text(line(source_values='white = "1.4 V", impedance = "0 ohm"', stage_values='series = "75 ohm"'))
    assert finding(run(engine, job), "level.white").value == pytest.approx(0.7, abs=1e-3)


def test_a_reading_is_held_to_the_range_of_its_level(engine: Engine) -> None:
    values = 'open_white = "1400 V", loaded_white = "0.7 V", load = "75 ohm"'
    with pytest.raises(InputError, match="open_white"):
        run(engine, text(line(source_values=values)))


@pytest.mark.parametrize("white", ["1.4 V 5%", "unknown"])
def test_only_the_level_varies(engine: Engine, white: str) -> None:
    """A sweep does not hold the source's level: it is run once for all builds."""
    job = text(line(source_values=f'white = "{white}", impedance = "1 ohm"'))
    found = finding(run(engine, job, samples=10), "response.bandwidth")
    assert found.value is not None
    assert found.spread is not None
    assert found.spread[0] == pytest.approx(found.spread[1])


# 2 % pad of 267.86 and 104.17 ohm: every corner lies between 72.5 and 77.5 ohm, so at least 35 dB (closed form)
def test_return_loss_of_a_tolerant_pad(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "5 V", impedance = "1 mohm", capacitance = "0.1 pF"',
            stage="two-resistor-pad",
            stage_values='series = "267.86 ohm 2%", shunt = "104.17 ohm 2%"',
        ),
        rail="5.5 V",
    )
    found = finding(run(engine, job), "response.return_loss")
    assert found.spread is not None
    assert found.spread[0] > 34.5
    assert found.outcome == "conforms"


def test_headroom_is_judged_at_the_low_rail(engine: Engine) -> None:
    """A buffer that just fits at the nominal rail clips at the low one: the white level shows it, headroom must too."""
    job = text(
        line(
            source_values='white = "1.2 V", black = "0.1 V", impedance = "1 ohm"', stage="video-buffer", stage_values=""
        ),
        rail="2.75 V 10%",
    )
    found = finding(run(engine, job), "level.headroom")
    assert found.outcome != "conforms"


# 100/0/100/0 bars reach 133 % of white (ITU-R BT.470 copy): a buffer that stops at 2.4 V clips the colour, not the luma
def test_colour_needs_headroom_too(engine: Engine) -> None:
    def job(chroma: str) -> str:
        return text(
            line(
                names="comp",
                standard="composite-625",
                source="encoder-pin",
                source_values=(
                    'white = "1.15 V", black = "0.45 V", blank = "0.45 V", sync = "0.15 V", '
                    'impedance = "1 ohm", sink = "60 mA"'
                    f', burst = "0.3 V", chroma = "{chroma}"'
                ),
                stage="video-buffer",
                stage_values='high_swing = "2.6 V"',
            )
        )

    plain, bars = run(engine, job("0 V")), run(engine, job("0.885 V"))
    before, after = (finding(one, "level.headroom", "comp").value for one in (plain, bars))
    assert before is not None
    assert after is not None
    assert before - after == pytest.approx(0.2636 * 0.885, abs=0.03)
    # the burst of 0.3 V peak to peak arrives at the display as it left the pin: gain two, halved
    assert finding(bars, "burst.amplitude", "comp").value == pytest.approx(0.3, abs=0.01)


# Ohm's law: 5 V behind 50 ohm into 75 ohm is 5 / 125 = 40 mA, on a pin rated 20 or 25 mA (CMOS logic data sheets);
# into 1 kohm it is 5 / 1050 = 4.8 mA.
def logic(values: str) -> str:
    return text(line("sync", "scart-sync", "logic-pin", values, "series-resistor", 'series = "300 ohm"'))


def test_a_logic_pin_is_never_asked_to_drive_75_ohm(engine: Engine) -> None:
    told = run(engine, logic('impedance = "unknown"'))
    asked = [one.remedy for one in told.findings if one.remedy and "read open" in one.remedy]
    assert asked
    assert all("with 1 kohm to 0 V" in text_ and "75 ohm" not in text_ for text_ in asked)
    assert all("scope clip to 0 V only" in text_ for text_ in asked)
    (blind,) = {one.codes for one in told.findings if one.quantity == "level.sync"}
    assert blind == ("unknown-source",)


def test_an_analogue_pin_may_be_read_into_75_ohm(engine: Engine) -> None:
    told = run(engine, text(line(source_values='white = "1.4 V", impedance = "unknown"')))
    assert any("read open and with 75 ohm to 0 V" in (one.remedy or "") for one in told.findings)


def test_a_logic_pin_is_described_by_two_readings_with_a_light_load(engine: Engine) -> None:
    """Z = R (open / loaded - 1): 5 V falls to 4.762 V on 1 kohm behind 50 ohm."""
    values = 'open_high = "5 V 0.1%", loaded_high = "4.762 V 0.1%", load = "1 kohm 0.1%"'
    told = run(engine, logic(values))
    assert any("impedance 50 ohm" in one for one in told.warnings)
    assert not any("heavier load" in one for one in told.warnings)


def test_a_logic_pin_that_was_loaded_with_75_ohm_is_warned_of(engine: Engine) -> None:
    values = 'open_high = "5 V", loaded_high = "3 V", load = "75 ohm"'
    told = run(engine, logic(values))
    assert any("heavier load than a 'logic-pin' should bear (1 kohm)" in one for one in told.warnings)
