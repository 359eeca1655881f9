"""The hostile corpus: every netlist that must be refused, with the sentence it gets, or read with its venom gone."""

from __future__ import annotations

import re
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest

from guardcheck.errors import CircuitError
from guardcheck.netlist import deck_lines, flatten, models_of, parse

FOLDER = Path(__file__).parent / "hostile"
ALLOWED = re.compile(r"[.a-z][a-z0-9_ .,=+\-*/()<>!&|?:]*")
FORBIDDEN = ("control", "shell", "touch", "include", "inc ", "lib", "param", "subckt", "option", "{", "}", "`", "*#")


def _cases() -> list[Any]:
    cases = []
    for file in sorted(FOLDER.glob("*.toml")):
        cases += [
            pytest.param(case, id=f"{file.stem}: {case['name']}")
            for case in tomllib.loads(file.read_text("utf-8"))["case"]
        ]
    return cases


def _text(case: dict[str, Any]) -> str | bytes:
    if "bytes" in case:
        return bytes.fromhex(case["bytes"])
    if "card" in case:
        return f".subckt part a b\nr0 a b 75\n{case['card']}\n.ends\n"
    repeated = str(case["text"]) * int(case.get("repeat", 1))
    return f"{case.get('before', '')}{repeated}{case.get('after', '')}"


def _deck(text: str | bytes) -> tuple[str, ...]:
    circuit = parse(text, file="mine.cir")
    ports = {port: f"n{index}" for index, port in enumerate(circuit.ports)}
    return deck_lines(flatten(circuit, name="part", ports=ports, values={}), models_of(circuit))


@pytest.mark.parametrize("case", _cases())
def test_hostile_netlist(case: dict[str, Any]) -> None:
    text = _text(case)
    if "drops" in case:
        deck = "\n".join(_deck(text))
        assert "r0_part n0 n1 75.0" in deck or "r1_part n0 n1 75.0" in deck
        assert not [word for word in (*case["drops"], *FORBIDDEN) if word in deck]
        return
    begun = time.process_time()
    with pytest.raises(CircuitError) as caught:
        _deck(text)
    sentence = str(caught.value)
    assert time.process_time() - begun < 1.0
    assert [part for part in case["says"] if part not in sentence] == [], sentence
    assert sentence.startswith("mine.cir")
    assert sentence.isprintable()
    assert len(sentence) < 700


def test_the_corpus_is_not_thin() -> None:
    assert len(_cases()) >= 60
    names = [case.values[0]["name"] for case in _cases()]
    assert len(names) == len(set(names))


def test_every_character_on_its_own_is_refused_or_dropped() -> None:
    """No character may reach a deck line unless it is on the short list, wherever it stands in a card."""
    for code in (*range(0x180), 0x2028, 0x2029, 0x202E, 0xFEFF, 0xFFFF, 0xD800, 0x1F600):
        for card in (
            f"r1 a b 75{chr(code)}",
            f"r1 a b 75 {chr(code)} x",
            f"r{chr(code)}1 a b 75",
            f"b1 a b v=v(a){chr(code)}1",
        ):
            try:
                deck = _deck(f".subckt part a b\nr0 a b 75\n{card}\n.ends\n")
            except CircuitError:
                continue
            assert all(ALLOWED.fullmatch(line) for line in deck), (code, card, deck)
