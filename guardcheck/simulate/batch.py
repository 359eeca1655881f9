"""Red, green and blue are often the same circuit three times: equal decks are run once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from guardcheck.engine import Engine
from guardcheck.model import Deck, Trace


def run_once(engine: Engine, decks: Sequence[Deck]) -> tuple[Trace, ...]:
    """Return the traces of decks in their order, running those that differ in nothing but their name only once."""
    places: dict[object, int] = {}
    different: list[Deck] = []
    wanted: list[int] = []
    for deck in decks:
        key = _content(deck)
        if key not in places:
            places[key] = len(different)
            different.append(deck)
        wanted.append(places[key])
    traces = engine.run(different)
    return tuple(replace(traces[index], deck=deck.name) for deck, index in zip(decks, wanted, strict=True))


def _content(deck: Deck) -> object:
    models = tuple((one.name, one.type, tuple(sorted(one.parameters.items()))) for one in deck.models)
    variants = None if deck.variants is None else (deck.variants.shape, deck.variants.tobytes())
    options = tuple(sorted(deck.options.items()))
    return (deck.cards, models, deck.analysis, deck.save, options, deck.alter, variants, deck.windows)
