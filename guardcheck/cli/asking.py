"""The guided start on a terminal: one question after the other, what was heard, and the job file they make."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import typer

from guardcheck.errors import InputError

if TYPE_CHECKING:
    from guardcheck.job import Answers, Question

WIDTH = 80
TRIES = 5
"""How often one question is asked before its answer counts as not known."""


def asked_job() -> str:
    """Return the job file made of what somebody answers.

    Raises
    ------
    InputError
        the answers end before the questions do: nothing is written then

    """
    from guardcheck.job import job_text, next_question

    typer.echo("ENTER = I do not know; what that costs is said. Ctrl-C: nothing is written.\n")
    answers: dict[str, str | None] = {}
    number = 0
    while (question := next_question(answers)) is not None:
        number += 1
        _show(number, question)
        answers[question.id] = _answer(question, answers)
    return job_text(answers)


def _show(number: int, question: Question) -> None:
    typer.echo(_wrapped(question.ask, f"{number:2} "))
    for place, choice in enumerate(question.choices, start=1):
        typer.echo(f"     {place}  {choice.label}")
    if question.note:
        typer.echo(_wrapped(question.note))


def _answer(question: Question, answers: Answers) -> str | None:
    from guardcheck.job import heard

    for _ in range(TRIES):
        hint = f"   such as {question.example} >" if question.example else "   >"
        try:
            text = typer.prompt(hint, default="", show_default=False, prompt_suffix=" ")
        except (typer.Abort, EOFError):
            raise InputError("stopped before the last question; nothing was written", key="--ask") from None
        try:
            found = heard(question, text, answers)
        except InputError as error:
            typer.echo(_wrapped(error.problem))
            continue
        typer.echo(f"{_wrapped(found.said)}\n")
        return found.value
    typer.echo(f"{_wrapped(heard(question, '').said)}\n")
    return None


def _wrapped(text: str, first: str = "   ") -> str:
    return fill(text, WIDTH, initial_indent=first, subsequent_indent="   ")
