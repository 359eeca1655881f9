"""`prove`: the battery run over a shelf: what every part's `[[check]]` rows say must be what ngspice finds."""

from __future__ import annotations

from collections.abc import Iterable

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, KINDS, NOT_PROVEN, Deck, Proof, Trace
from guardcheck.pipeline.options import Options
from guardcheck.simulate.proving import Bench, device_benches, part_benches, resting
from guardcheck.verdict.outcome import worst

AT_REST = "rests with every port held by 75 ohm, no node in the air"


def prove(options: Options) -> tuple[Proof, ...]:
    """Return what became of every check of a shelf: the user's folder alone, else the one that comes with guardcheck.

    A part that cannot be read, or whose run fails, is a row of its own and hides no other.

    Raises
    ------
    CircuitError
        the folder is not there
    EngineMissing
        no simulator could be started

    """
    library = Library.load(options.circuits)
    shelf = library.shelves[0]
    with Engine(workers=options.workers, wait=False) as engine:
        proofs: list[Proof] = []
        work: list[tuple[Proof | Bench | str, Deck | None]] = []
        for kind, folder in (*((kind, f"{kind}s") for kind in KINDS), ("model", "models")):
            for name in sorted(shelf.names(folder)):
                work += _work(library, kind, name)
        traces = iter(engine.run([deck for _, deck in work if deck is not None]))
        for what, deck in work:
            if isinstance(what, Proof) or deck is None:
                proofs += [what] if isinstance(what, Proof) else []
            elif isinstance(what, Bench):
                proofs.append(_held(what, next(traces)))
            else:
                proofs.append(_rested(what, next(traces)))
    return tuple(proofs)


def _work(library: Library, kind: str, name: str) -> list[tuple[Proof | Bench | str, Deck | None]]:
    member = f"{kind} {name}"
    try:
        if kind == "model":
            return [(bench, bench.deck) for bench in device_benches(library.model(name))]
        part = library.get(kind, name)
        work: list[tuple[Proof | Bench | str, Deck | None]] = [(one, one.deck) for one in part_benches(part)]
        return work if kind == "event" else [*work, (member, resting(part))]
    except CircuitError as error:
        return [(Proof(member, "can be read", NOT_PROVEN, str(error)), None)]


def _held(bench: Bench, trace: Trace) -> Proof:
    check = bench.check
    try:
        found = bench.read(trace)
    except CircuitError as error:
        return Proof(bench.member, check.what, NOT_PROVEN, f"not read: {error.problem}", check.unit)
    outcome = CONFORMS if abs(found - check.value) <= check.tolerance else DOES_NOT_CONFORM
    return Proof(bench.member, check.what, outcome, "", check.unit, found, check.value, check.tolerance)


def _rested(member: str, trace: Trace) -> Proof:
    if trace.failure is not None:
        return Proof(member, AT_REST, DOES_NOT_CONFORM, trace.failure)
    needed = ", ".join(trace.help_used)
    return Proof(member, AT_REST, DOES_NOT_CONFORM if needed else CONFORMS, needed and f"it needed help: {needed}")


def proven(proofs: Iterable[Proof]) -> str:
    """Return the worst outcome of all rows; a shelf without a row proves nothing."""
    return worst([proof.outcome for proof in proofs] or [NOT_PROVEN])
