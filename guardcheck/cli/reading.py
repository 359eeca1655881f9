"""`read`: one reading straight from a networked meter into the file it belongs to."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from guardcheck.errors import InputError


def read(
    address: Annotated[
        str, typer.Argument(metavar="ADDRESS", help="The meter, such as TCPIP::192.0.2.7::5025::SOCKET.")
    ],
    quantity: Annotated[
        str, typer.Option("--quantity", metavar="NAME", help="What is read: level.blank, bond.resistance, …")
    ],
    into: Annotated[Path, typer.Option("--into", metavar="FILE", help="The readings file; for a bond, the job file.")],
    accuracy: Annotated[
        str, typer.Option("--accuracy", metavar="TEXT", help="The meter's, as printed: '1% + 2 counts'.")
    ],
    line: Annotated[str | None, typer.Option("--line", metavar="NAME", help="The line that is read.")] = None,
    where: Annotated[str | None, typer.Option("--where", metavar="'A to B'", help="The bond that is read.")] = None,
    resolution: Annotated[
        str | None, typer.Option("--resolution", metavar="VALUE", help="One count of the meter, such as '1 mV'.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="WORD", help="display, connector or pin.")] = None,
    load: Annotated[str | None, typer.Option("--load", metavar="WORD", help="terminated or open.")] = None,
    steady: Annotated[bool, typer.Option("--steady", help="The line carried no signal while it was read.")] = False,
    backend: Annotated[str, typer.Option("--backend", hidden=True)] = "@py",
    patience: Annotated[float, typer.Option("--patience", hidden=True)] = 5.0,
) -> None:
    """Take one reading from a meter (three times, with its spread) and write it down, whole or not at all."""
    from guardcheck.measure.instrument import take
    from guardcheck.verification.recording import BOND, facts_of, record_bond, record_reading, wanted_unit

    unit = wanted_unit(quantity)
    if (quantity == BOND) != (line is None) or (quantity == BOND) != (where is not None):
        raise InputError("name the --line of a level, or the --where of a bond", key="read")
    taken = take(address, unit, backend=backend, patience=patience)
    facts = facts_of(quantity, taken, accuracy, resolution)
    if where is not None:
        record_bond(into, where, facts)
    else:
        told: dict[str, str | bool] = {name: word for name, word in (("place", place), ("load", load)) if word}
        record_reading(into, str(line), quantity, facts, **told, **({"steady": True} if steady else {}))
    typer.echo(f"{facts['value']} ({facts['note']}): written into {into}")
