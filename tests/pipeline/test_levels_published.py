"""Levels of whole jobs, through job file, library and ngspice, against published or independently computed values."""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from tests.pipeline.jobs import finding, line, run, text

SYNC = {"names": "sync", "standard": "scart-sync", "source": "logic-pin"}

# what, job, line, quantity, expected [V or ohm], tolerance, source
ROWS = [
    # TI THS7303 / OPA4830 data sheets: doubly terminated, -6 dB
    ("double termination halves", text(line()), "red", "level.white", 0.7, 5e-4),
    # circuit law: buffer 1.4 V, 75 ohm, 1 Mohm load
    ("termination missing", text(line(), display="unterminated"), "red", "level.white", 1.399, 2e-3),
    # circuit law: 1.4 V, 75 ohm into 37.5 ohm
    ("doubly terminated display", text(line(), display="double-terminated"), "red", "level.white", 0.46667, 5e-4),
    # circuit law: 1.4 V, 100 ohm into 75 ohm
    (
        "100 ohm in place of 75",
        text(line(stage_values='series = "99 ohm"')),
        "red",
        "level.white",
        0.6,
        5e-4,
    ),
    # closed form: E24 pair 270/100 from 5 V gives 0.685 V and 73.0 ohm
    (
        "E24 pad from 5 V: level",
        text(
            line(
                source_values='white = "5 V", impedance = "1 mohm"',
                stage="two-resistor-pad",
                stage_values='series = "270 ohm", shunt = "100 ohm"',
            ),
            rail="5.5 V",
        ),
        "red",
        "level.white",
        0.685,
        1e-3,
    ),
    (
        "E24 pad from 5 V: impedance",
        text(
            line(
                source_values='white = "5 V", impedance = "1 mohm"',
                stage="two-resistor-pad",
                stage_values='series = "270 ohm", shunt = "100 ohm"',
            ),
            rail="5.5 V",
        ),
        "red",
        "response.impedance",
        73.0,
        0.05,
    ),
    # land-boards VGAX49 note: 3.3 V through 330 ohm into 75 ohm gives 0.61 V
    (
        "3.3 V through 330 ohm",
        text(
            line(
                source_values='white = "3.3 V", impedance = "1 mohm"',
                stage_values='series = "330 ohm"',
            ),
            rail="3.3 V",
        ),
        "red",
        "level.white",
        0.61,
        5e-3,
    ),
    # electronics.stackexchange 453377: 280 ohm from 3.3 V gives about 0.7 V
    (
        "3.3 V through 280 ohm",
        text(
            line(
                source_values='white = "3.3 V", impedance = "1 mohm"',
                stage_values='series = "280 ohm"',
            ),
            rail="3.3 V",
        ),
        "red",
        "level.white",
        0.7,
        5e-3,
    ),
    # public bypass-board readme: 2.5 V source, 200 ohm gives 0.682 V
    (
        "2.5 V sync through 200 ohm",
        text(
            line(
                **SYNC,
                source_values='high = "2.5 V", impedance = "1 mohm"',
                stage_values='series = "200 ohm"',
            )
        ),
        "sync",
        "level.sync",
        0.682,
        1e-3,
    ),
    # same readme: 180 ohm gives 0.735 V
    (
        "2.5 V sync through 180 ohm",
        text(
            line(
                **SYNC,
                source_values='high = "2.5 V", impedance = "1 mohm"',
                stage_values='series = "180 ohm"',
            )
        ),
        "sync",
        "level.sync",
        0.735,
        1e-3,
    ),
    # circuit law: 5 V through 470 ohm gives 0.6881 V
    (
        "5 V sync through 470 ohm",
        text(line(**SYNC, source_values='high = "5 V", impedance = "1 mohm"', stage_values='series = "470 ohm"')),
        "sync",
        "level.sync",
        0.6881,
        5e-4,
    ),
    # circuit law: 1.2 kohm from 5 V gives 0.294 V
    (
        "5 V sync through 1.2 kohm",
        text(line(**SYNC, source_values='high = "5 V", impedance = "1 mohm"', stage_values='series = "1.2 kohm"')),
        "sync",
        "level.sync",
        0.294,
        5e-4,
    ),
    # circuit law: 750 ohm from 3.3 V gives 0.30 V
    (
        "3.3 V sync through 750 ohm",
        text(line(**SYNC, source_values='high = "3.3 V", impedance = "1 mohm"', stage_values='series = "750 ohm"')),
        "sync",
        "level.sync",
        0.3,
        5e-4,
    ),
    # circuit law: 5 V straight into 75 ohm is 5 V (and 66.7 mA) from a stiff driver
    (
        "5 V sync straight in",
        text(line(**SYNC, source_values='high = "5 V", impedance = "1 mohm"', stage="pass-through", stage_values="")),
        "sync",
        "level.sync",
        5.0,
        1e-2,
    ),
    # issue of practice: 3.0 V and 40 mA from 50 ohm (voltage divider)
    (
        "5 V sync from 50 ohm",
        text(line(**SYNC, source_values='high = "5 V", impedance = "50 ohm"', stage="pass-through", stage_values="")),
        "sync",
        "level.sync",
        3.0,
        1e-2,
    ),
    # SAA7158 data sheet p.15: 25 ohm internal + 50 ohm external, 2 V unloaded, gives 1 V at 75 ohm
    (
        "encoder with 25 ohm inside",
        text(line(source_values='white = "2 V", impedance = "25 ohm"', stage_values='series = "50 ohm"')),
        "red",
        "level.white",
        1.0,
        1e-3,
    ),
    # same chip with the external 50 ohm left out: 1.5 V (circuit law)
    (
        "external resistor left out",
        text(line(source_values='white = "2 V", impedance = "25 ohm"', stage="pass-through", stage_values="")),
        "red",
        "level.white",
        1.5,
        2e-3,
    ),
    # video distribution amplifier, an amateur television note: 0.7 V in, gain two, 75/75: 0.7 V out
    (
        "gain-of-two buffer",
        text(
            line(
                source_values='white = "0.7 V", black = "50 mV", impedance = "75 ohm"',
                stage="video-buffer",
                stage_values="",
            )
        ),
        "red",
        "level.white",
        0.65,
        2e-3,
    ),
    # back-matched source into a double-terminated input: x 0.667, -3.5 dB (levels reference, section 7)
    (
        "two receivers terminated",
        text(
            line(**SYNC, source_values='high = "0.6 V", impedance = "75 ohm"', stage="pass-through", stage_values=""),
            display="double-terminated",
        ),
        "sync",
        "level.sync",
        0.2,
        5e-4,
    ),
]


@pytest.mark.parametrize(("what", "job", "name", "quantity", "expected", "tolerance"), ROWS, ids=[r[0] for r in ROWS])
def test_level(
    engine: Engine, what: str, job: str, name: str, quantity: str, expected: float, tolerance: float
) -> None:
    found = finding(run(engine, job), quantity, name)
    assert found.value == pytest.approx(expected, abs=tolerance), found.why


# Resistor pair R1 + Rs, R2 || 75 by hand (closed form): worst case of 267/105 at 1 % is 0.6954 to 0.7126 V
def test_worst_case_corners(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "5 V", impedance = "1 mohm"',
            stage="two-resistor-pad",
            stage_values='series = "267 ohm 1%", shunt = "105 ohm 1%"',
        ),
        rail="5.5 V",
    )
    found = finding(run(engine, job, samples=400), "level.white")
    assert found.spread == pytest.approx((0.6954, 0.7126), abs=2e-4)
    # same page: standard deviation 3.78 mV for uniform 1 %; the 95 % interval of samples lies inside the corners
    assert found.interval is not None
    assert 0.6954 < found.interval[0] < 0.7039 - 0.004
    assert 0.7039 + 0.004 < found.interval[1] < 0.7126


# closed form: 5 % parts, worst 0.6624 to 0.7482 V
def test_worst_case_corners_five_percent(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "5 V", impedance = "1 mohm"',
            stage="two-resistor-pad",
            stage_values='series = "267 ohm 5%", shunt = "105 ohm 5%"',
        ),
        rail="5.5 V",
    )
    found = finding(run(engine, job, samples=0), "level.white")
    assert found.spread == pytest.approx((0.6624, 0.7482), abs=3e-4)


# closed form, worst corners: 5 % parts mismatch by up to 12.3 % = 1.07 dB in the worst case (270/100 pad)
def test_worst_mismatch_of_three_lines(engine: Engine) -> None:
    job = text(
        line(
            names="red green blue",
            source_values='white = "5 V", impedance = "1 mohm"',
            stage="two-resistor-pad",
            stage_values='series = "270 ohm 5%", shunt = "100 ohm 5%"',
        ),
        rail="5.5 V",
    )
    found = finding(run(engine, job, samples=200), "level.mismatch")
    assert found.spread is not None
    assert found.spread[1] == pytest.approx(1.07, abs=0.03)
    assert found.outcome == "not_proven"
