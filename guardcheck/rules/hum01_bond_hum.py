"""HUM01: hum that leakage current leaves across a bond.

Hazard
    Leakage of the Y capacitors flows between unit and display through whatever joins their 0 V. Its voltage stands in
    series with the signal: bars that roll through the picture, a buzz in the sound.
What is read
    Mains, Y capacitances and their coupling, whether unit (class I) and display are earthed, and each bond; the current
    is simulated with the plugs turned the worst way, earthed and floating where that is not known. The signal loop of
    150 ohm lies beside every bond, and carries all of it where there is none.
Limit and source
    None was found: the figure is shown as a fraction of 0.7 V and decides nothing. Half of a voltage in the loop
    reaches a 75-ohm input; peak to peak is 2.83 times root mean square.
Not covered
    Earth loops (both ends earthed), harmonics of a rectifier, hum from magnetic fields.
What to do at the bench
    Bond the two 0 V before the signal is joined; look for the bond with the highest reading first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from math import inf, log10, sqrt
from typing import Any

from guardcheck.leakage import display_earthed, halves, known, pair_spread, unit_earthed
from guardcheck.metrology import low_ohms
from guardcheck.model import (
    NOT_APPLICABLE,
    SIGNAL,
    Ask,
    Case,
    Fact,
    Facts,
    Finding,
    Quantity,
    Rule,
    Value,
)
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding

QUANTITY = "bond.hum"
RULE = Rule(code="HUM01", title="Hum across a bond", klass=SIGNAL, quantities=(QUANTITY,))

FULL_SIGNAL = 0.7
"""Peak-to-peak picture signal [V] the hum is compared with."""
SIGNAL_LOOP = 150.0
"""Resistance [ohm] the current meets when there is no bond: 75 ohm at either end."""
TIED, AFLOAT = 0.1, 1e9
"""Resistance [ohm] of the display's own tie to earth in the probe circuit, earthed and not."""
WAYS = 8
"""Most ways a bond is simulated: unit earthed or not, display earthed or not, plug turned or not."""
_PHASE = {"opposite": 180.0, "different": 120.0}


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: the leakage current through each bond, for every way plugs and earths may be."""
    mains, frequency = known(facts.supply, "mains"), known(facts.supply, "mains_frequency")
    unit, display = known(facts.supply, "y_capacitance"), known(facts.display, "y_capacitance")
    earthed = (_ties(unit_earthed(facts.supply)), _ties(display_earthed(facts.display)))
    if mains is None or frequency is None or (unit is None and AFLOAT in earthed[0]):
        return ()
    if display is None and AFLOAT in earthed[1]:
        return ()
    live, neutral = halves(facts.supply, 0.0 if unit is None else unit.value, pair_spread(facts.supply))
    far = halves(facts.display, 0.0 if display is None else display.value, pair_spread(facts.display))
    phase = _PHASE.get(str(facts.supply.get("phases")), 0.0)
    found = []
    for where, fact in facts.table("bond"):
        ohms = _path(fact)
        if ohms is None:
            continue
        ways = product(earthed[0], earthed[1], (far, far[::-1]))
        for number, (tie, far_tie, (far_live, far_neutral)) in enumerate(ways):
            values = {
                "mains": mains.value,
                "phase": phase,
                "y_live": live,
                "y_neutral": neutral,
                "display_live": far_live,
                "display_neutral": far_neutral,
                "bond": max(ohms, 1e-3),
                "unit_earth": tie,
                "earth": far_tie,
            }
            found.append(Ask(f"HUM01/{number}/{where}", "bond-hum", values, "i(vsense)", frequency.value))
    return tuple(found)


def _ties(earthed: bool | None) -> tuple[float, ...]:
    """Return the ties to earth to try [ohm]: both where nobody knows."""
    return (TIED, AFLOAT) if earthed is None else (TIED,) if earthed else (AFLOAT,)


def _path(fact: Fact) -> float | None:
    """Return the resistance the leakage current meets [ohm]: the bond beside the signal loop, or the loop alone."""
    bond = _bond(fact)
    return None if bond is None else SIGNAL_LOOP if bond == inf else bond * SIGNAL_LOOP / (bond + SIGNAL_LOOP)


def _bond(fact: Fact) -> float | None:
    reading = fact.entries.get("reading")
    if fact.entries.get("state") == "not fitted":
        return inf
    if not isinstance(reading, Mapping):
        return None
    if reading.get("value") == "over range":
        return inf
    read = low_ohms(reading)
    return None if read is None else max(read.value, 0.0)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Show the hum across every declared bond; there is no limit, so it decides nothing."""
    return tuple(_hum(facts, where, fact) for where, fact in facts.table("bond"))


def _hum(facts: Facts, where: str, fact: Fact) -> Finding:
    answered = [facts.answers.get(f"HUM01/{number}/{where}") for number in range(WAYS)]
    amps = max((one for one in answered if one is not None), default=None)
    ohms = _path(fact)
    if amps is None or ohms is None:
        why = "Not simulated: mains, frequency, both Y capacitances and a reading of the bond are needed for its hum."
        return replace(finding(RULE.code, Quantity(QUANTITY, "", None, None, where=where), None, needed=False), why=why)
    volts = amps * ohms
    peaks = volts * 2.0 * sqrt(2.0)
    share = peaks / 2.0 / FULL_SIGNAL
    level = f" ({20.0 * log10(share):.0f} dB)" if share > 0 else ""
    path = (
        "the signal loop, since there is no bond," if ohms == SIGNAL_LOOP else "the bond and the signal loop beside it"
    )
    path += _earths(facts)
    why = (
        f"{format_si(amps, 'A')} of leakage through {path} makes {format_si(volts, 'V')} rms, {format_si(peaks, 'V')} "
        f"peak to peak; half of it reaches a 75-ohm input: {100.0 * share:.2g} % of 0.7 V{level}. No limit applies."
    )
    return replace(finding(RULE.code, Quantity(QUANTITY, "", None, volts, where=where), None, needed=False), why=why)


def _earths(facts: Facts) -> str:
    """Return what the earths of unit and display leave to say."""
    tied = (unit_earthed(facts.supply), display_earthed(facts.display))
    if tied == (True, True):
        return " (both are earthed: hum of the earth loop comes on top and is not told)"
    return "" if None not in tied else " (tried earthed and floating where nobody knows; the worse is told)"


def _case(reading: Mapping[str, Any], answer: float | None) -> Facts:
    entries = {"from": "board shield", "to": "connector shell", "purpose": "shield", "reading": reading}
    chassis = {"y_capacitance": Value.exact(4.7e-9, "F"), "y_coupling": "single"}
    mains = {"mains": Value.exact(230.0, "V"), "mains_frequency": Value.exact(50.0, "Hz")}
    return Facts(
        declared=(Fact("bond", 0, "shield", entries),),
        supply={**chassis, **mains},
        display=chassis,
        answers={"HUM01/0/shield": answer},
    )


CASES = (
    Case(
        "50 mohm and 170 uA",
        _case({"value": Value.exact(0.05, "ohm"), "method": "four-wire"}, 169.8e-6),
        NOT_APPLICABLE,
    ),
    Case("no bond: the signal loop carries it", _case({"value": "over range"}, 169.8e-6), NOT_APPLICABLE),
    Case("no simulator", _case({"value": Value.exact(0.05, "ohm")}, None), NOT_APPLICABLE),
)
