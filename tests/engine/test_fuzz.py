"""Whatever the cards hold, the engine answers with a trace: never an exception, never a result that is not a number."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guardcheck.engine import Engine, check_deck
from guardcheck.errors import DeckRefused
from guardcheck.model import Card, Operating, Sweep, Transient
from tests.engine.decks import deck, divider

STABLE = settings(
    derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
WORDS = st.text(max_size=12) | st.sampled_from(["0", "in", "out", "v1", "r1", "dsi", "*#", ".control", "`x`", "a\nb"])
NAMES = st.builds(lambda letter, rest: letter + rest, st.sampled_from(list("rclkvidqjmegfhbstanx.*")), WORDS)
TAILS = st.sampled_from(
    [
        "",
        "pulse(0.0 1.0 0.0 1e-09 1e-09 1.0 2.0)",
        "pwl(0.0 0.0 1e-06 1.0)",
        "ac 1.0",
        "z0=75.0 td=1e-09",
        "z0=75.0 td=x",
        "v=v(out)*2.0",
        "v=v(",
        "i=limit(v(in),0.0,1.0)",
        ".ends",
    ]
)
NUMBERS = st.none() | st.floats() | st.integers(-5, 5).map(float)
CARDS = st.builds(Card, NAMES | WORDS, st.lists(WORDS, max_size=5).map(tuple), NUMBERS, TAILS | WORDS)
ANALYSES = (
    st.just(Operating())
    | st.builds(Sweep, st.floats(), st.floats(), st.integers(-3, 40))
    | st.builds(Transient, st.floats(1e-9, 1e-6), st.floats(1e-8, 1e-5), st.floats(1e-8, 1e-6), st.booleans())
    | st.builds(Transient, st.floats(), st.floats(), st.floats(), st.booleans())
)
OPTIONS = st.dictionaries(WORDS | st.sampled_from(["reltol", "method", "gmin"]), st.floats() | WORDS, max_size=2)
MATRICES = st.none() | st.lists(st.floats(), min_size=1, max_size=4).map(lambda xs: np.array(xs).reshape(-1, 1))


@STABLE
@given(
    cards=st.lists(CARDS, max_size=4),
    analysis=ANALYSES,
    save=st.lists(WORDS | st.just("v(out)"), max_size=3),
    options=OPTIONS,
    matrix=MATRICES,
)
def test_check_deck_raises_nothing_but_a_refusal(
    cards: list[Card],
    analysis: Operating | Sweep | Transient,
    save: list[str],
    options: dict[str, float | str],
    matrix: np.ndarray | None,
) -> None:
    alter = () if matrix is None else ("r1",)
    for body in (cards, [*divider(), *cards]):
        try:
            check_deck(deck(body, analysis, save, options=options, alter=alter, variants=matrix))
        except DeckRefused as refused:
            assert str(refused).isprintable()  # noqa: PT017


@settings(STABLE, max_examples=60)
@given(extra=st.lists(CARDS, min_size=1, max_size=2), analysis=ANALYSES)
def test_the_engine_always_answers(engine: Engine, extra: list[Card], analysis: Operating | Sweep | Transient) -> None:
    traces = engine.run([deck([*divider(), *extra], analysis), deck(divider())])
    assert traces[0].solved.all() == (traces[0].failure is None)
    assert np.isfinite(traces[0].vectors["v(out)"]).all() == (traces[0].failure is None)
    assert traces[1].vectors["v(out)"][0] == pytest.approx(2.0, rel=1e-8)
