"""The tokens of one card, and a reader that walks over them and says clearly what it missed."""

from __future__ import annotations

import re
from dataclasses import dataclass

from guardcheck.errors import CircuitError
from guardcheck.netlist.expression import RESERVED, Expr, ExpressionError, Known, Num, parse_value
from guardcheck.netlist.numbers import NumberError, number
from guardcheck.netlist.place import Place, quoted

_TOKEN = re.compile(r"[ \t]*(?:(\{[^{}]*\}|'[^']*')|([()=])|([^ \t(){}'=]+))")
_NAME = re.compile(r"[a-z][a-z0-9_]{0,31}", re.ASCII)
_WORD = re.compile(r"[a-z0-9_]{1,32}", re.ASCII)
NAME_RULE = "a letter, then letters, digits and '_', at most 32"
WORD_RULE = "letters, digits and '_', at most 32"


@dataclass(frozen=True, slots=True)
class Token:
    """One token: `expression` tells a braced or quoted expression (text without the braces) from a plain word."""

    text: str
    expression: bool = False


def tokens(text: str, place: Place) -> tuple[Token, ...]:
    """Return the tokens of a card; raises CircuitError for braces or quotes that do not pair."""
    found: list[Token] = []
    index, end = 0, len(text.rstrip(" \t"))
    while index < end:
        match = _TOKEN.match(text, index)
        if match is None:
            odd = text[index:].strip(" \t")[0]
            raise place.error(f"{quoted(odd)} has no partner, or stands inside another pair; an expression is {{...}}")
        braced, mark, word = match.groups()
        found.append(Token(braced[1:-1], expression=True) if braced else Token(mark or word))
        index = match.end()
    return tuple(found)


def plain_name(text: str, what: str, place: Place) -> str:
    """Return a checked lower-case name of an element, parameter, function or subcircuit."""
    name = text.lower()
    if not _NAME.fullmatch(name) or "__" in name:
        raise place.error(f"{quoted(text)} cannot be {what}; accepted: {NAME_RULE}, without '__'")
    return name


def free_name(text: str, what: str, place: Place) -> str:
    """Return a checked name that no function or built-in word has."""
    name = plain_name(text, what, place)
    if name in RESERVED:
        raise place.error(f"{quoted(name)} cannot be {what}: it has a meaning in expressions; choose another name")
    return name


def node_name(text: str, place: Place) -> str:
    """Return a checked lower-case node name."""
    name = text.lower()
    if not _WORD.fullmatch(name) or "__" in name:
        raise place.error(f"{quoted(text)} cannot be a node; accepted: {WORD_RULE}, without '__'")
    return name


def model_name(text: str, place: Place) -> str:
    """Return a checked lower-case model name: it may begin with a digit, but must not read as a number."""
    name = text.lower()
    if not _WORD.fullmatch(name) or "__" in name or name.isdigit() or _reads_as_number(name):
        raise place.error(f"{quoted(text)} cannot be a model name; accepted: {WORD_RULE}, not a number")
    return name


def _reads_as_number(text: str) -> bool:
    try:
        number(text)
    except NumberError:
        return False
    return True


class Fields:
    """Walks over the tokens of one card, front to back.

    Every method raises CircuitError naming the card when the token it wants is not there; `usage` is what the card
    should look like.
    """

    def __init__(self, items: tuple[Token, ...], place: Place, known: Known, usage: str) -> None:
        self._items, self._at = items, 0
        self.place, self.known, self.usage = place, known, usage

    @property
    def left(self) -> int:
        """Number of tokens not yet taken."""
        return len(self._items) - self._at

    def peek(self, ahead: int = 0) -> Token | None:
        """Return a coming token without taking it."""
        index = self._at + ahead
        return self._items[index] if index < len(self._items) else None

    def word_is(self, *words: str) -> bool:
        """Return whether the next token is one of these plain words (any case)."""
        token = self.peek()
        return token is not None and not token.expression and token.text.lower() in words

    def accept(self, *words: str) -> str | None:
        """Take the next token if it is one of these words."""
        if not self.word_is(*words):
            return None
        self._at += 1
        return self._items[self._at - 1].text.lower()

    def expect(self, word: str) -> None:
        """Take exactly this word."""
        if self.accept(word) is None:
            raise self.missing(f"'{word}'")

    def take(self) -> Token:
        """Take the next token, whatever it is."""
        token = self.peek()
        if token is None:
            raise self.missing("something")
        self._at += 1
        return token

    def back(self, count: int) -> None:
        """Give the last `count` tokens back."""
        self._at -= count

    def missing(self, what: str) -> CircuitError:
        """Return the error that `what` is not there."""
        token = self.peek()
        where = "at the end" if token is None else f"before {quoted(token.text)}"
        return self.place.error(f"{what} is missing {where}; write {self.usage}")

    def word(self, what: str) -> str:
        """Take a plain word."""
        token = self.peek()
        if token is None or token.expression or token.text in ("(", ")", "="):
            raise self.missing(what)
        self._at += 1
        return token.text

    def nodes(self, count: int) -> tuple[str, ...]:
        """Take `count` node names."""
        return tuple(node_name(self.word("a node"), self.place) for _ in range(count))

    def value(self, what: str) -> Expr:
        """Take a number or an expression."""
        token = self.peek()
        if token is None or (not token.expression and token.text in ("(", ")", "=")):
            raise self.missing(what)
        self._at += 1
        try:
            return parse_value(token.text, self.known) if token.expression else Num(number(token.text))
        except (ExpressionError, NumberError) as error:
            raise self.place.error(str(error)) from None

    def end(self) -> None:
        """Refuse anything that is left."""
        token = self.peek()
        if token is not None:
            raise self.place.error(f"{quoted(token.text)} is not accepted here; write {self.usage}")
