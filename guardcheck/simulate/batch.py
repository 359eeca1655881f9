"""How decks reach the engine: equal ones once, and studies that do not wait for each other side by side.

Red, green and blue are often the same circuit three times. And while one study writes its decks or reads its traces,
the simulators work for another: a thread each, one engine for all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import replace
from typing import TypeVar, cast

from guardcheck.engine import Engine
from guardcheck.model import Deck, Trace

A = TypeVar("A")
B = TypeVar("B")
T = TypeVar("T")


def side_by_side(engine: Engine, tasks: Sequence[Callable[[], T]]) -> list[T]:
    """Return what each task gives, in their order; the first one that raises stops the others.

    Parameters
    ----------
    engine : what the tasks run their decks on
    tasks : each on its own, in a thread; what they share they only read

    """
    with ThreadPoolExecutor(max(len(tasks), 1), thread_name_prefix="guardcheck") as threads:
        running = [threads.submit(task) for task in tasks]
        try:
            ended, _ = wait(running, return_when=FIRST_EXCEPTION)
            return [one.result() for one in running if one in ended]
        except BaseException:
            with engine.refusing():
                threads.shutdown(cancel_futures=True)
            raise


def both(engine: Engine, first: Callable[[], A], second: Callable[[], B]) -> tuple[A, B]:
    """Return what two tasks give that run side by side; see `side_by_side`."""
    one, other = side_by_side(engine, [first, second])
    return cast("A", one), cast("B", other)


def run_once(engine: Engine, decks: Sequence[Deck]) -> tuple[Trace, ...]:
    """Return the traces of decks in their order, running those that differ in nothing but their name only once."""
    places: dict[object, int] = {}
    different: list[Deck] = []
    wanted: list[int] = []
    for deck in decks:
        key = content_of(deck)
        if key not in places:
            places[key] = len(different)
            different.append(deck)
        wanted.append(places[key])
    traces = engine.run(different)
    return tuple(replace(traces[index], deck=deck.name) for deck, index in zip(decks, wanted, strict=True))


def content_of(deck: Deck) -> object:
    """Return what makes another deck give the same traces, hashable: everything but its name and family."""
    models = tuple((one.name, one.type, tuple(sorted(one.parameters.items()))) for one in deck.models)
    variants = None if deck.variants is None else (deck.variants.shape, deck.variants.tobytes())
    options = tuple(sorted(deck.options.items()))
    return (deck.cards, models, deck.analysis, deck.save, options, deck.alter, variants, deck.windows)
