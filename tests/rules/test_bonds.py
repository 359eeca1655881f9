"""Bonds and the hum across them: what a reading of a few milliohms shows, and what it cannot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.engine import Engine
from guardcheck.metrology import LEADS, expanded, low_ohms
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    OUTCOMES,
    Fact,
    Facts,
    Finding,
    Value,
)
from guardcheck.rules import judge_all
from tests.rules.jobs import SHIELD, job, judged

quiet = settings(derandomize=True, deadline=None, database=None, max_examples=80)


def test_the_shield_of_the_example_job(engine: Engine) -> None:
    found = judged(job(), engine)
    bond = found["BND01/bond.resistance/board shield to connector shell (unit 0 V)"]
    assert bond.value == pytest.approx(0.02)
    assert bond.outcome == CONFORMS
    assert bond.uncertainty == pytest.approx(expanded(0.0212, 0.021))
    assert "common practice, no published source" in (bond.reference or "")
    assert found["BND01/declared.fact/second bond of board shield"].outcome == NOT_PROVEN
    hum = found["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(169.8e-6 * 0.02, rel=5e-3)
    assert (hum.outcome, hum.needed) == (NOT_APPLICABLE, False)


def test_hum_of_an_open_shield(engine: Engine) -> None:
    """170 uA back through 150 ohm: 25.5 mV rms, 72 mV peak to peak, half of it in 0.7 V. Worked by hand."""
    tables = '[[bond]]\nfrom = "shield"\nto = "shell"\npurpose = "shield"\nstate = "not fitted"\n'
    found = judged(job(tables), engine)
    assert found["HUM01/bond.hum/shield to shell"].value == pytest.approx(25.5e-3, rel=5e-3)
    assert "72 mV peak to peak" in found["HUM01/bond.hum/shield to shell"].why
    assert found["BND01/bond.resistance/shield to shell"].outcome == DOES_NOT_CONFORM


# 2 pi 50 Hz x 2.2 nF x 230 V = 159 uA: all of a single-sided capacitor flows into an earthed unit, whichever way plugs
# are turned; over 10.02 ohm less 20 mohm of leads beside the 150-ohm loop that is 159 uA x 9.375 ohm = 1.49 mV
HUM_OHMS = SHIELD.replace('"0.12 ohm"', '"10.10 ohm"')


@pytest.mark.parametrize(
    ("klass", "amps"), [("I", 158.96e-6), ("II", 79.5e-6), ("unknown", 158.96e-6)], ids=["I", "II", "unknown"]
)
def test_hum_knows_an_earthed_unit_and_the_loop_beside_the_bond(klass: str, amps: float, engine: Engine) -> None:
    """Class II: two capacitors in series, opposed plugs: half of it. R beside 150 ohm: 10 x 150 / 160 = 9.375 ohm."""
    facts = job(HUM_OHMS, y="2.2 nF")
    facts = replace(facts, supply={**facts.supply, "protection_class": klass})
    hum = judged(facts, engine)["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(amps * 9.375, rel=5e-3)


def test_symmetric_supplies_on_one_phase_hum_little_but_not_nothing(engine: Engine) -> None:
    """Pairs of 20 % opposed: 0.6 against 0.4 of 230 V behind 2.35 nF, 33.96 uA through 20 mohm."""
    found = judged(job(coupling="symmetric"), engine)
    hum = found["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(33.96e-6 * 0.02, rel=5e-3)


def test_another_lead_may_earth_a_display_for_its_hum_too(engine: Engine) -> None:
    """All of one 4.7 nF capacitor at 230 V, 339.6 uA, where two that float leave half of it."""
    facts = job()
    facts = replace(facts, display={**facts.display, "other_leads": True})
    hum = judged(facts, engine)["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(339.6e-6 * 0.02, rel=5e-3)
    assert "tried earthed and floating" in hum.why


def bond(**entries: object) -> Finding:
    """Return the resistance finding of one bond."""
    facts = Facts(declared=(Fact("bond", 0, "x", {"from": "a", "to": "b", "purpose": "shield", **entries}),))
    return next(one for one in judge_all(facts) if one.quantity == "bond.resistance")


def reading(value: float, leads: float | None = None, **more: object) -> dict[str, object]:
    found: dict[str, object] = {
        "value": Value.exact(value, "ohm"),
        "method": "two-wire",
        "accuracy": "1.0% + 2 counts",
        "resolution": Value.exact(0.01, "ohm"),
    }
    return found | ({} if leads is None else {"leads": Value.exact(leads, "ohm")}) | more


@pytest.mark.parametrize(
    ("purpose", "read", "outcome"),
    [
        ("protective-earth", reading(0.35), NOT_PROVEN),  # leads not read: the bond may be anything below
        ("protective-earth", reading(0.05), CONFORMS),  # even with its leads it is below
        ("protective-earth", reading(0.75), DOES_NOT_CONFORM),  # whatever its leads are
        ("protective-earth", reading(0.35, 0.30, resolution=Value.exact(0.1, "ohm")), NOT_PROVEN),
        ("shield", reading(0.10, 0.30), NOT_PROVEN),  # the leads alone cannot read more
        ("shield", {"value": Value.exact(0.2, "ohm"), "leads": Value.exact(0.1, "ohm")}, NOT_PROVEN),  # no accuracy
        ("shield", {"value": Value.exact(40.0, "ohm"), "leads": Value.exact(0.1, "ohm")}, DOES_NOT_CONFORM),
        ("functional-earth", reading(0.5, 0.1), CONFORMS),
    ],
)
def test_bond_readings(purpose: str, read: Mapping[str, object], outcome: str) -> None:
    assert bond(purpose=purpose, reading=read).outcome == outcome


@pytest.mark.parametrize("told", ["chassis, screw over paint", "ground plane under solder mask", "Anodised panel"])
def test_a_screw_on_paint_is_not_proven_by_a_good_reading(told: str) -> None:
    found = bond(to=told, reading=reading(0.12, 0.10))
    assert found.outcome == NOT_PROVEN
    assert found.remedy is not None


def test_nothing_ever_suggests_earthing_a_class_two_unit() -> None:
    entries = {"from": "chassis", "to": "earth pin", "purpose": "protective-earth"}
    for more in ({"reading": reading(0.12, 0.10)}, {"state": "not fitted"}):
        facts = Facts(declared=(Fact("bond", 0, "x", {**entries, **more}),), supply={"protection_class": "II"})
        found = [one for one in judge_all(facts) if one.rule == "BND01"]
        assert [one.quantity for one in found] == ["bond.resistance"]
        assert found[0].outcome != CONFORMS
        assert "must not be given one" in found[0].why
        assert "fit" not in (found[0].remedy or "")


@given(st.floats(0, 50), st.floats(0, 1))
@quiet
def test_a_shield_conforms_only_with_room_for_its_uncertainty(shown: float, leads: float) -> None:
    found = bond(reading=reading(shown, leads))
    read = low_ohms(reading(shown, leads))
    assert read is not None
    assert read.uncertainty is not None
    assert found.outcome in OUTCOMES
    assert (found.outcome == CONFORMS) == (-read.uncertainty <= read.value <= 1.0 - read.uncertainty)


@given(st.floats(0, 5))
@quiet
def test_unread_leads_never_make_a_bond_better(shown: float) -> None:
    without, most = bond(reading=reading(shown)), bond(reading=reading(shown, LEADS[1]))
    if without.outcome == DOES_NOT_CONFORM:
        assert most.outcome == DOES_NOT_CONFORM
