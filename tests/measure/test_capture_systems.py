"""Which scanning system a capture shows: by the published tables, and to the edge of what is near."""

from __future__ import annotations

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import systems as table
from guardcheck.measure.capture.systems import nearest_system, plainest_system, systems
from tests.measure.still import HIGH, LOW, US


def test_systems_are_told_by_period_and_width() -> None:
    for period, width, name in (
        (64.0, 4.7, "625"),
        (63.78, 4.7, "625"),
        (63.77, 4.7, "525"),
        (63.34, 4.7, "525"),
        (31.7776, 3.8, "vga"),
        (31.7776, 3.1, "vga"),
        (31.7776, 3.05, "525p"),
        (64.3, 4.7, None),
        (63.3, 4.7, None),
    ):
        found = nearest_system(period * US, width * US)
        assert (found.name if found else None) == name, (period, width)
    assert [plainest_system(LOW, 4.7e-6).name, plainest_system(HIGH, 2.0e-6).name] == ["625", "525p"]
    assert plainest_system(HIGH, 4.0e-6).name == "vga"


def test_the_systems_are_those_of_the_tables() -> None:
    """ITU-R BT.470: 64 and 63.5555 us, 4.7 us, 4.43361875 and 3.579545 MHz; VESA DMT and BT.1358 from memory."""
    seen = {one.name: (one.period / US, one.sync_width / US, one.subcarrier, one.rate.scale) for one in systems()}
    assert_allclose(seen["625"], (64, 4.7, 4433618.75, 1))
    assert_allclose(seen["525"], (63.5555, 4.7, 315e6 / 88, 1), rtol=1e-6)
    assert seen["vga"][:2] == pytest.approx((800 / 25.175, 96 / 25.175), rel=1e-4)
    assert seen["525p"][:2] == pytest.approx((858 / 27, 63 / 27), rel=1e-4)
    assert [one.subcarrier for one in systems()][2:] == [None, None]
    assert [one.blanking_end / US for one in systems()] == pytest.approx([10.5, 9.2, 5.4, 4.5])


def test_a_period_of_a_system_is_told_to_a_third_of_a_percent() -> None:
    for off, name in ((0.0034, "625"), (-0.0034, "625"), (0.0036, None)):
        found = nearest_system(64e-6 * (1 + off), 4.7e-6)
        assert (found.name if found else None) == name


def test_the_windows_of_a_rate_are_in_seconds() -> None:
    """Lines of 62.5 to 65 us, 15.4 to 16 kHz; line sync from 3.6 us on; a flat porch 3.3 to 4.2 us behind it."""
    assert LOW.periods == pytest.approx((62.5e-6, 65e-6))
    assert LOW.widths == pytest.approx((3.6e-6, 5.8e-6))
    assert LOW.porch == pytest.approx((3.3e-6, 4.2e-6))
    assert HIGH.periods == pytest.approx((31.25e-6, 32.5e-6))
    assert (LOW.scale, HIGH.scale, LOW.pairs, HIGH.pairs) == (1.0, 0.5, 2, 8)


def test_a_period_that_is_just_as_near_as_may_be_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """A 256th of a period of 2 ** -14 s: numbers without rounding."""
    one = replace(systems()[0], period=2.0**-14)
    monkeypatch.setattr(table, "systems", lambda: (one,))
    monkeypatch.setattr(table, "NEAR", 2.0**-8)
    for near in (2.0**-14 + 2.0**-22, 2.0**-14 - 2.0**-22):
        assert nearest_system(near, 4.7e-6) is one
    assert nearest_system(2.0**-14 + 1.01 * 2.0**-22, 4.7e-6) is None
