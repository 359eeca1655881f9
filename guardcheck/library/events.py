"""The run plan of a stress event, from its metadata or, for a user's own netlist, from the values beside it."""

from __future__ import annotations

from collections.abc import Mapping

from guardcheck.library.schema import RATINGS
from guardcheck.model import DAILY, MATED, ROLES, STRESS, UNIT_STATES, USES, EventPlan, Parameter
from guardcheck.toml_tables import Table


def plan_of(top: Table, parameters: Mapping[str, Parameter]) -> EventPlan:
    """Return the run plan an event's metadata describes.

    Raises
    ------
    CircuitError
        an unknown state of the unit, a severity without a value, a run without an end

    """
    table = top.table("severities")
    levels = {level: table.table(level) for level in table}
    usual = top.word("use", USES, DAILY)
    avoid = top.text("condition") if "condition" in top else None
    said = {level: row.text("condition") if "condition" in row else avoid for level, row in levels.items()}
    rated = top.table("rated")
    rated.only(*RATINGS)
    stop, step = top.real("stop", "s"), top.real("step", "s")
    if not 0.0 < step < stop:
        top.refuse("step", "the largest time step must be above zero and below stop")
    return EventPlan(
        unit=_words(top, "unit", UNIT_STATES),
        mated=_words(top, "mated", MATED),
        severities=_severities(top, parameters),
        stop=stop,
        step=step,
        lasting=top.flag("lasting"),
        claimed=top.flag("claimed"),
        role=top.word("role", ROLES, STRESS),
        mating=top.text("mating") if "mating" in top else "",
        rated={name: rated.word(name, tuple(parameters)) for name in rated},
        charged=top.word("charged", tuple(parameters)) if "charged" in top else "",
        states={level: _words(row, "unit", UNIT_STATES) for level, row in levels.items() if "unit" in row},
        use={level: row.word("use", USES, usual) for level, row in levels.items()},
        condition={level: text for level, text in said.items() if text is not None},
    )


def _words(top: Table, name: str, choices: tuple[str, ...]) -> tuple[str, ...]:
    """Return one word or a list of words, each of `choices`."""
    if isinstance(top.entries.get(name), str):
        return (top.word(name, choices),)
    found = top.texts(name)
    wrong = [word for word in found if word not in choices]
    if not found or wrong:
        top.refuse(name, f"write one or more of {', '.join(choices)}")
    return found


def _severities(top: Table, parameters: Mapping[str, Parameter]) -> Mapping[str, Mapping[str, float]]:
    table = top.table("severities")
    if not table.entries:
        top.refuse("severities", "is missing; name at least one level of this event")
    found: dict[str, dict[str, float]] = {}
    for level in table:
        row = table.table(level)
        row.only("unit", "use", "condition", *parameters)
        found[level] = {name: row.real(name, parameters[name].unit) for name in row if name in parameters}
    return found
