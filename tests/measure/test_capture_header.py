"""What a scope says of itself above its table. Every number expected is written by hand."""

from __future__ import annotations

import pytest

from guardcheck.measure.capture.header import ChannelFacts, channel_facts


@pytest.mark.parametrize(
    ("key", "text", "expected"),
    [
        ("coupling", "DC", ChannelFacts(coupling="dc")),
        ("ch1 coupling", "ac 1M", ChannelFacts(coupling="ac")),
        ("coupling", "D", ChannelFacts(coupling="dc")),
        ("coupling", "a", ChannelFacts(coupling="ac")),
        ("coupling", "GND", ChannelFacts()),
        ("coupling", "1M", ChannelFacts()),
        ("coupling", " ", ChannelFacts()),
        ("probe", "10x", ChannelFacts(probe=10.0)),
        ("probe attenuation", "x 10", ChannelFacts(probe=10.0)),
        ("probe", "1", ChannelFacts(probe=1.0)),
        ("probe", "0.1", ChannelFacts(probe=0.1)),
        ("probe", "0", ChannelFacts()),
        ("probe", "-10", ChannelFacts()),
        ("probe", "auto", ChannelFacts()),
        ("vertical scale", "500mV", ChannelFacts(division=0.5)),
        ("volts/div", "2.5e-1", ChannelFacts(division=0.25)),
        ("v/div", "5 k", ChannelFacts(division=5000.0)),
        ("vscale", "5u", ChannelFacts(division=5e-6)),
        ("vscale", "5\u03bc", ChannelFacts(division=5e-6)),
        ("vscale", "5\u00b5V", ChannelFacts(division=5e-6)),
        ("vscale", "5nV", ChannelFacts(division=5e-9)),
        ("vertical sensitivity", "2 V", ChannelFacts(division=2.0)),
        ("vertical offset", "-250 mV", ChannelFacts(offset=-0.25)),
        ("offset", "0", ChannelFacts(offset=0.0)),
        ("horizontal scale", "5", ChannelFacts()),
    ],
)
def test_a_fact_of_the_only_channel(key: str, text: str, expected: ChannelFacts) -> None:
    found = channel_facts([(key, (text,))], ["CH1"])["CH1"]
    assert found.coupling == expected.coupling
    for name in ("probe", "division", "offset"):
        value = getattr(expected, name)
        assert getattr(found, name) == (value if value is None else pytest.approx(value, rel=1e-12, abs=0))


def test_a_row_holds_for_the_channel_it_names_or_for_each_in_turn() -> None:
    rows = [
        ("probe", ("", "10", "1")),
        ("ch2 coupling", ("AC", "DC", "DC")),
        ("coupling ch1", (" ",)),
        ("offset", ("1",)),  # one value for two channels says nothing
        ("ch10 offset", ("2",)),
        ("ch1 vertical scale", ("0",)),  # no scale: the next row may tell
        ("vertical scale", ("0.5", "0.2")),
        ("vertical scale", ("5", "2")),  # said already
    ]
    assert channel_facts(rows, ["CH1", "CH2"]) == {
        "CH1": ChannelFacts(probe=10.0, division=0.5),
        "CH2": ChannelFacts(coupling="ac", probe=1.0, division=0.2),
    }
