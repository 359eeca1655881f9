"""Random networks against an independent solution: nodal analysis in numpy, root finding and exponentials in scipy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import Boltzmann, elementary_charge
from scipy.linalg import expm
from scipy.optimize import root

from guardcheck.engine import Engine
from guardcheck.model import Card, Deck, Model, Sweep, Transient
from tests.engine.decks import deck

Matrix = NDArray[np.complex128]


def random_nodes(rng: np.random.Generator, n: int) -> list[tuple[int, int]]:
    """Return branches of a connected network on nodes 0..n: a tree and as many branches across."""
    tree = [(k, int(rng.integers(0, k))) for k in range(1, n + 1)]
    across = [tuple(int(x) for x in rng.choice(n + 1, 2, replace=False)) for _ in range(n)]
    return [*tree, *((a, b) for a, b in across)]


def name(node: int) -> str:
    return "0" if node == 0 else f"n{node}"


def random_linear(seed: int) -> tuple[list[Card], list[tuple[str, int, int, float]], int]:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 9))
    branches: list[tuple[str, int, int, float]] = []
    for index, (a, b) in enumerate(random_nodes(rng, n)):
        kind = "r" if index < n else str(rng.choice(["r", "c", "l"]))
        scale = {"r": (1.0, 4.0), "c": (-11.0, -7.0), "l": (-7.0, -4.0)}[kind]
        value = float(10.0 ** rng.uniform(*scale))
        if kind == "l":  # a coil gets a resistor in series, so that no loop of coils can arise
            n += 1
            branches += [("l", a, n, value), ("r", n, b, float(10.0 ** rng.uniform(0.0, 2.0)))]
        else:
            branches.append((kind, a, b, value))
    cards = [Card(f"{kind}{k}", (name(a), name(b)), value) for k, (kind, a, b, value) in enumerate(branches)]
    drive = Card("idrive", ("0", "n1"), 1e-3, "ac 1e-3")
    return [drive, *cards], branches, n


def solve_linear(branches: list[tuple[str, int, int, float]], n: int, frequency: float) -> Matrix:
    """Return node voltages for 1 mA into node 1, by modified nodal analysis: each coil's current is an unknown."""
    omega = 2.0 * np.pi * frequency
    coils = [branch for branch in branches if branch[0] == "l"]
    matrix = np.zeros((n + 1 + len(coils),) * 2, dtype=complex)
    matrix[np.arange(1, n + 1), np.arange(1, n + 1)] = 1e-12  # the shunt the engine puts on every node
    for kind, a, b, value in branches:
        if kind != "l":
            admittance = 1.0 / value if kind == "r" else 1j * omega * value
            matrix[a, a] += admittance
            matrix[b, b] += admittance
            matrix[a, b] -= admittance
            matrix[b, a] -= admittance
    for row, (_, a, b, value) in enumerate(coils, start=n + 1):
        matrix[a, row] += 1.0
        matrix[b, row] -= 1.0
        matrix[row, a] += 1.0
        matrix[row, b] -= 1.0
        matrix[row, row] -= 1j * omega * value
    current = np.zeros(n + len(coils), dtype=complex)
    current[0] = 1e-3
    return np.linalg.solve(matrix[1:, 1:], current)[:n]


def test_random_linear_networks_at_dc_and_in_sweeps(engine: Engine) -> None:
    """60 networks of resistors, capacitors and coils: numpy's modified nodal analysis within 1e-7."""
    cases = [random_linear(seed) for seed in range(60)]
    decks: list[Deck] = []
    for cards, _, n in cases:
        save = tuple(f"v(n{k})" for k in range(1, n + 1))
        decks += [deck(cards, save=save), deck(cards, Sweep(1e3, 1e8, 11), save=save)]
    traces = engine.run(decks)
    for (_, branches, n), still, swept in zip(cases, traces[::2], traces[1::2], strict=True):
        assert still.failure is None
        assert swept.failure is None
        expected = solve_linear(branches, n, 0.0).real
        got = np.array([still.vectors[f"v(n{k})"][0] for k in range(1, n + 1)])
        assert np.abs(got - expected).max() <= 1e-7 * np.abs(expected).max()
        assert swept.axis is not None
        for column, frequency in enumerate(swept.axis):
            expected_ac = solve_linear(branches, n, float(frequency))
            got_ac = np.array([swept.vectors[f"v(n{k})"][0, column] for k in range(1, n + 1)])
            assert np.abs(got_ac - expected_ac).max() <= 1e-7 * np.abs(expected_ac).max()


DIODES = tuple(
    Model(f"d{k}x", "d", {"is": saturation, "n": emission})
    for k, (saturation, emission) in enumerate([(2.52e-9, 1.752), (0.21e-6, 1.016), (1e-14, 1.0)])
)
THERMAL = Boltzmann * 300.15 / elementary_charge


def test_random_nonlinear_networks(engine: Engine) -> None:
    """50 networks of resistors, diodes and sources: scipy's root of the node equations within 0.1 %."""
    decks: list[Deck] = []
    equations = []
    for seed in range(50):
        rng = np.random.default_rng(1000 + seed)
        n = int(rng.integers(2, 7))
        resistors = [(a, b, float(10.0 ** rng.uniform(1.0, 4.0))) for a, b in random_nodes(rng, n)]
        diodes = [(*rng.choice(n + 1, 2, replace=False).tolist(), int(rng.integers(0, 3))) for _ in range(n)]
        drive = float(rng.uniform(-0.02, 0.02))
        cards = [Card("idrive", ("0", "n1"), drive)]
        cards += [Card(f"r{k}", (name(a), name(b)), value) for k, (a, b, value) in enumerate(resistors)]
        cards += [Card(f"d{k}", (name(a), name(b)), None, f"d{kind}x") for k, (a, b, kind) in enumerate(diodes)]
        save = tuple(f"v(n{k})" for k in range(1, n + 1))
        decks.append(deck(cards, save=save, models=DIODES, options={"reltol": 1e-6, "abstol": 1e-12}))
        equations.append((n, resistors, diodes, drive))
    for trace, (n, resistors, diodes, drive) in zip(engine.run(decks), equations, strict=True):
        assert trace.failure is None, trace.failure
        got = np.array([0.0, *(trace.vectors[f"v(n{k})"][0] for k in range(1, n + 1))])

        def excess(volts: NDArray[np.float64]) -> NDArray[np.float64]:
            v = np.concatenate(([0.0], volts))
            into = np.zeros(n + 1)  # noqa: B023 - used within this turn of the loop only
            into[1] += drive  # noqa: B023
            for a, b, value in resistors:  # noqa: B023
                current = (v[a] - v[b]) / value
                into[a] -= current
                into[b] += current
            for a, b, kind in diodes:  # noqa: B023
                parameters = DIODES[kind].parameters
                across = (v[a] - v[b]) / (parameters["n"] * THERMAL)
                current = parameters["is"] * np.expm1(np.minimum(across, 300.0))
                into[a] -= current
                into[b] += current
            return into[1:]

        solution = root(excess, got[1:], method="hybr", tol=1e-14)
        assert np.abs(excess(solution.x)).max() < 1e-9, "the reference itself did not converge"
        assert np.abs(solution.x - got[1:]).max() <= 1e-3 * np.abs(solution.x).max()


@pytest.mark.parametrize("method", ["gear", "trap"])
def test_random_rc_networks_in_time(engine: Engine, method: str) -> None:
    """20 RC networks driven by a step of current: the matrix exponential within 0.1 %."""
    decks: list[Deck] = []
    references = []
    for seed in range(20):
        rng = np.random.default_rng(2000 + seed)
        n = int(rng.integers(2, 5))
        resistors = [(a, b, float(10.0 ** rng.uniform(2.0, 3.0))) for a, b in random_nodes(rng, n)]
        capacitors = [float(10.0 ** rng.uniform(-9.5, -8.5)) for _ in range(n)]
        conductance = np.zeros((n + 1, n + 1))
        for a, b, value in resistors:
            conductance[a, a] += 1.0 / value
            conductance[b, b] += 1.0 / value
            conductance[a, b] -= 1.0 / value
            conductance[b, a] -= 1.0 / value
        g, c = conductance[1:, 1:], np.diag(capacitors)
        slowest = 1.0 / np.linalg.eigvals(np.linalg.solve(c, g)).real.min()
        stop = 3.0 * slowest
        cards = [Card("idrive", ("0", "n1"), None, "pulse(0.0 1e-3 0.0 1e-12 1e-12 1.0 2.0)")]
        cards += [Card(f"r{k}", (name(a), name(b)), value) for k, (a, b, value) in enumerate(resistors)]
        cards += [Card(f"c{k}", (f"n{k + 1}", "0"), value) for k, value in enumerate(capacitors)]
        save = tuple(f"v(n{k})" for k in range(1, n + 1))
        options = {"method": method, "reltol": 1e-5}
        decks.append(deck(cards, Transient(stop / 100, stop, stop / 400), save=save, options=options))
        final = np.linalg.solve(g, np.array([1e-3] + [0.0] * (n - 1)))
        references.append((n, stop, final, np.linalg.solve(c, g)))
    for trace, (n, stop, final, rate) in zip(engine.run(decks), references, strict=True):
        assert trace.failure is None
        assert trace.axis is not None
        for at in (stop / 3.0, stop):
            expected = final - expm(-rate * at) @ final
            got = np.array([np.interp(at, trace.axis, trace.vectors[f"v(n{k})"][0]) for k in range(1, n + 1)])
            assert np.abs(got - expected).max() <= 1e-3 * np.abs(final).max()
