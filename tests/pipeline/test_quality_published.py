"""Response quantities of whole jobs against published values, closed forms and scikit-rf."""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.engine import Engine
from guardcheck.measure import overshoot, return_loss, tilt, upper_corner
from tests.pipeline.jobs import finding, line, run, text


def ac(capacitor: str) -> str:
    return text(line(stage="ac-coupled", stage_values=f'capacitor = "{capacitor}", series = "74 ohm"'))


# Worked examples C07-C09 and WD21-WD23 (circuit law, ngspice, 150 ohm): 100 tanh(10 ms / (2 x 150 ohm x C)) percent
@pytest.mark.parametrize(("capacitor", "percent"), [("220 uF", 15.04), ("470 uF", 7.08), ("1000 uF", 3.332)])
def test_field_tilt(engine: Engine, capacitor: str, percent: float) -> None:
    found = finding(run(engine, ac(capacitor)), "response.field_tilt")
    assert found.value is not None
    assert found.outcome == ("not_proven" if capacitor == "220 uF" else "conforms")  # practice sets it
    assert 100 * found.value == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize("stage", ["ac-coupled", "video-buffer-ac"])
def test_the_capacitor_of_the_shelf_holds_the_limit_of_the_shelf(engine: Engine, stage: str) -> None:
    """What a reader gets who leaves the capacitor out must not shade his picture: 470 uF tilt 7.1 % at 50 Hz."""
    job = text(
        line(source_values='white = "0.9 V", black = "0.2 V", impedance = "1 ohm"', stage=stage, stage_values="")
    )
    found = finding(run(engine, job), "response.field_tilt")
    assert 100 * (found.value or 0.0) == pytest.approx(7.08, abs=0.1)
    assert found.outcome == "conforms"


@pytest.mark.parametrize("metres", [1.8, 10.0, 30.0, 100.0])
def test_a_matched_lead_does_not_ring_however_long(engine: Engine, metres: float) -> None:
    """A lossless line between its own impedances delivers an edge as it was (circuit law): no overshoot at all."""
    job = text(line()).replace('kind = "none"', f'kind = "coax-75"\nlength = "{metres} m"')
    found = finding(run(engine, job), "response.overshoot")
    assert found.value is not None
    assert found.value < 0.006


# tanh(T/4RC): 59.94 Hz gives 12.6 % for 220 uF; the 525-line standard asks at its own field rate
def test_field_tilt_at_the_525_line_rate(engine: Engine) -> None:
    job = text(
        line(
            names="comp",
            standard="composite-525",
            source="encoder-pin",
            source_values=(
                'white = "2.0 V", black = "0.677 V", blank = "0.57 V", sync = "0 V", '
                'impedance = "1 ohm", sink = "60 mA"'
            ),
            stage="ac-coupled",
            stage_values='capacitor = "220 uF", series = "74 ohm"',
        )
    )
    found = finding(run(engine, job), "response.field_tilt", "comp")
    assert found.value == pytest.approx(0.126, abs=1e-3)


@pytest.mark.parametrize(
    ("picture", "percent", "line_percent"),
    [
        ('field_rate = "60 Hz"', 12.57, 0.048485),
        ('field_rate = "60 Hz"\nlines_per_field = "262"', 12.57, 0.048192),
        ('field_rate = "50 Hz"\nlines_per_field = "625"', 15.04, 0.024242),
    ],
)
def test_the_job_says_what_the_unit_makes(engine: Engine, picture: str, percent: float, line_percent: float) -> None:
    """100 tanh(T / 4RC) with 220 uF and 150 ohm: T of a field is 1/60 s, T of a line 1 / (60 Hz x 262 lines)."""
    job = ac("220 uF").replace("[display]", f"[picture]\n{picture}\n[display]")
    field = finding(run(engine, job), "response.field_tilt")
    assert 100 * (field.value or 0) == pytest.approx(percent, abs=0.05)
    assert "not declared" not in field.why
    tilted = finding(run(engine, job), "response.line_tilt")
    assert 100 * (tilted.value or 0) == pytest.approx(line_percent, rel=2e-3)
    assert "Field rate not declared: taken at 50 Hz" in finding(run(engine, ac("220 uF")), "response.field_tilt").why


@pytest.mark.parametrize(
    ("standard", "lines", "outcome"),
    [("scart-rgb", "262", "not_applicable"), ("scart-rgb", "525", "not_proven"), ("component-sd", "525", "not_proven")],
)
def test_a_progressive_picture_asks_whether_the_display_takes_its_line_rate(
    engine: Engine, standard: str, lines: str, outcome: str
) -> None:
    """60 Hz of 262 lines are 15.72 kHz, which every television set takes; of 525 lines 31.5 kHz, which few do."""
    picture = f'[picture]\nfield_rate = "60 Hz"\nlines_per_field = "{lines}"\nscan = "progressive"\n[display]'
    job = text(line(standard=standard)).replace("[display]", picture)
    found = next(one for one in run(engine, job).findings if one.quantity == "scan.line_rate")
    assert found.value == pytest.approx(60.0 * float(lines))
    assert found.outcome == outcome
    assert ("overheat" in found.why) is (outcome == "not_proven")


# Worked example WD25 (circuit law): a 64 us step into 220 uF and 150 ohm droops 0.194 %; a square wave at line rate
# tilts tanh(T/4RC) = half of a half
def test_line_tilt(engine: Engine) -> None:
    found = finding(run(engine, ac("220 uF")), "response.line_tilt")
    assert found.value == pytest.approx(math.tanh(64e-6 / 2 / (2 * 150 * 220e-6)), rel=0.01)


# Worked examples WI09-WI13, R04-R08: return loss of a resistive source against 75 ohm (definition: ECSS glossary 1168)
@pytest.mark.parametrize(
    ("ohms", "decibels"),
    [(75.75, 46.06), (78.75, 32.26), (68.0, 26.2), (82.0, 27.0), (100.0, 16.9), (50.0, 13.98), (150.0, 9.54)],
)
def test_return_loss(engine: Engine, ohms: float, decibels: float) -> None:
    job = text(
        line(
            source_values=f'white = "1.4 V", impedance = "{ohms - 1} ohm", capacitance = "0.1 pF"',
            stage_values='series = "1 ohm"',
        )
    )
    found = finding(run(engine, job), "response.return_loss")
    # what is left is the chip diodes' own leakage and 0.1 pF
    assert found.value == pytest.approx(decibels, abs=0.05)


def test_return_loss_against_scikit_rf() -> None:
    """The arithmetic against a general-purpose microwave library."""
    from skrf.network import z2s

    impedance = np.array([50.0, 68.0, 82.0, 75.0 + 10.0j, 20.0 - 30.0j])
    reflection = z2s(impedance.reshape(-1, 1, 1), z0=np.full((5, 1), 75.0))[:, 0, 0]
    assert return_loss(impedance.astype(complex), 75.0) == pytest.approx(-20 * np.log10(np.abs(reflection)), rel=1e-9)


# closed form: lumped f3 = 1 / (2 pi (Zs || 75) C): 42.4 MHz for 100 pF on a 75/75 node. Here the
# capacitance is at the pin behind 74 of the 75 ohm, so the pole is 1 / (2 pi C (1 || (74 + 75))) - far out; a source
# of 470 ohm brings it near: R = 470 || 75
def test_bandwidth_of_one_pole(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "5 V", impedance = "470 ohm", capacitance = "100 pF"',
            stage="pass-through",
            stage_values="",
        ),
        rail="12 V",
    )
    found = finding(run(engine, job), "response.bandwidth")
    resistance = 1 / (1 / 470 + 1 / 75)
    # pin 100 pF, chip diodes and the display's own 10 pF hang on the same node
    low, high = (1 / (2 * math.pi * resistance * farad) for farad in (130e-12, 105e-12))
    assert found.value is not None
    assert low < found.value < high


def test_upper_corner_against_a_closed_form() -> None:
    frequency = np.logspace(3, 8, 161)
    response = 1 / (1 + 1j * frequency / 6.25e6)
    corner, reached = upper_corner(frequency, response[None, :], reference=1e5)
    assert reached[0]
    assert corner[0] == pytest.approx(6.25e6, rel=2e-3)
    flat, reached = upper_corner(frequency, np.ones((1, 161), dtype=complex), reference=1e5)
    assert (flat[0], bool(reached[0])) == (frequency[-1], False)


def test_overshoot_against_a_closed_form() -> None:
    """Second-order step, damping 0.5: 16.3 % (exp(-pi z / sqrt(1 - z^2)), any control handbook) against scipy."""
    from scipy import signal

    time, volts = signal.step(signal.TransferFunction([1.0], [1.0, 1.0, 1.0]), T=np.linspace(0, 60, 6000))
    assert overshoot(time, volts) == pytest.approx(math.exp(-math.pi * 0.5 / math.sqrt(0.75)), abs=2e-3)


def test_tilt_of_an_exponential() -> None:
    """Windows cut from the closed form of a 220 uF, 150 ohm high-pass in its steady state."""
    half, tau = 10e-3, 33e-3
    peak = 1 / (1 + math.exp(-half / tau))
    width = half / 200

    def mean(start: float) -> float:
        ends = np.array([start, start + width])
        return float(peak * tau / width * (np.exp(-ends[0] / tau) - np.exp(-ends[1] / tau)))

    first, last = mean(0.02 * half), mean(0.98 * half - width)
    windows = np.array([[first, last, -first, -last, first, last, -first, -last]])
    found, change = tilt(windows, share=0.96 - 1 / 200)
    assert found[0] == pytest.approx(math.tanh(half / 2 / tau), rel=5e-3)
    assert change[0] == pytest.approx(0.0, abs=1e-12)


# closed form, +6 dB buffer: clip BEFORE the 75/75 divider; lower rail 50 mV floor -> 25 mV lifted black
def test_buffer_floor_lifts_black(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "0.7 V", black = "0 V", impedance = "1 ohm"',
            stage="video-buffer",
            stage_values="",
        )
    )
    result = run(engine, job)
    assert finding(result, "level.blank").value == pytest.approx(0.025, abs=1e-3)
    assert finding(result, "level.white").value == pytest.approx(0.675, abs=2e-3)
    headroom_found = finding(result, "level.headroom")
    assert headroom_found.outcome == "does_not_conform"


# circuit law: 5 V logic straight into 75 ohm, 0.333 W in the terminator: over a quarter watt
def test_terminator_of_a_stiff_logic_driver_burns(engine: Engine) -> None:
    job = text(
        line(
            names="sync",
            standard="scart-sync",
            source="logic-pin",
            source_values='high = "5 V", impedance = "1 mohm"',
            stage="pass-through",
            stage_values="",
        )
    )
    result = run(engine, job)
    power = [one for one in result.findings if one.quantity == "part.power" and one.where == "display termination"]
    assert power[0].value == pytest.approx(0.333, abs=2e-3)
    assert power[0].outcome == "does_not_conform"


# circuit law (published claim 2.6 V, refuted): 820 over 1k from 5 V gives 0.392 V under 75 ohm
def test_unloaded_divider_mistake(engine: Engine) -> None:
    job = text(
        line(
            names="blanking",
            standard="scart-blanking",
            source="switch-pin",
            source_values='voltage = "5 V", impedance = "1 mohm"',
            stage="two-resistor-pad",
            stage_values='series = "820 ohm", shunt = "1 kohm"',
        )
    )
    found = finding(run(engine, job), "level.blank", "blanking")
    assert found.value == pytest.approx(0.392, abs=1e-3)
    assert found.outcome == "does_not_conform"


# circuit law (home-computer service manual, wiring notes): pin 16 from 5 V through 75, 100, 180 ohm
@pytest.mark.parametrize(("ohms", "volts"), [(75, 2.5), (100, 2.14), (180, 1.47)])
def test_blanking_feeds(engine: Engine, ohms: int, volts: float) -> None:
    job = text(
        line(
            names="blanking",
            standard="scart-blanking",
            source="switch-pin",
            source_values='voltage = "5 V", impedance = "1 mohm"',
            stage_values=f'series = "{ohms} ohm"',
        )
    )
    found = finding(run(engine, job), "level.blank", "blanking")
    assert found.value == pytest.approx(volts, abs=0.01)
    assert found.outcome == "conforms"


# circuit law: pin 8 from 12 V through 1k and 3.3k into 10k: 10.9 V and 9.02 V (below 9.5)
@pytest.mark.parametrize(("ohms", "volts", "outcome"), [(1000, 10.909, "conforms"), (3300, 9.023, "does_not_conform")])
def test_switching_feeds(engine: Engine, ohms: int, volts: float, outcome: str) -> None:
    job = text(
        line(
            names="switching",
            standard="scart-switching",
            source="switch-pin",
            source_values='voltage = "12 V", impedance = "1 mohm"',
            stage_values=f'series = "{ohms} ohm"',
        ),
        rail="12 V",
        display="control-input",
    )
    found = finding(run(engine, job), "level.blank", "switching")
    assert found.value == pytest.approx(volts, abs=0.01)
    assert found.outcome == outcome
