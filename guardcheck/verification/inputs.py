"""What `verify` was handed: a readings file, scope captures, and the words that say how the captures were taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.measure.readings import Accuracy, parse_accuracy
from guardcheck.measure.readings.records import COUPLINGS, LOADS, PICTURES, PLACES
from guardcheck.units import shown

ALL = ""
"""Stands for every capture, where a word was given without the name of a line."""
WORDS: Mapping[str, tuple[str, ...]] = {
    "picture": tuple(PICTURES),
    "load": tuple(LOADS),
    "place": tuple(PLACES),
    "coupling": tuple(COUPLINGS),
}


@dataclass(frozen=True)
class CaptureFile:
    """One capture: the line it shows, its file, and its channel (None: the only one, or one named like the line)."""

    line: str
    path: Path
    channel: str | None = None


@dataclass(frozen=True)
class Given:
    """Everything measured, as handed over.

    `sync` names the channel that carries sync for lines without their own. `words` maps ``picture``, ``load``,
    ``place`` and ``coupling`` to what was said of each line's capture (`ALL` for every other). `accuracy` is the
    oscilloscope's.
    """

    readings: Path | None = None
    captures: tuple[CaptureFile, ...] = ()
    sync: str | None = None
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    accuracy: Accuracy | None = None

    def word(self, key: str, line: str) -> str | None:
        """Return what was said of a line's capture, None when nothing was."""
        said = self.words.get(key, {})
        return said.get(line, said.get(ALL))


def given(
    readings: Path | None = None,
    captures: Sequence[str] = (),
    *,
    sync: str | None = None,
    picture: Sequence[str] = (),
    load: Sequence[str] = (),
    place: Sequence[str] = (),
    coupling: Sequence[str] = (),
    accuracy: str | None = None,
) -> Given:
    """Read what the command line was handed.

    Parameters
    ----------
    readings : a readings file
    captures : ``LINE=FILE`` or ``LINE=FILE#CHANNEL``
    sync : the channel that carries sync
    picture, load, place, coupling : a word of the readings file, for all captures, or ``LINE=WORD`` for one
    accuracy : the oscilloscope's, as its data sheet prints it

    Raises
    ------
    InputError
        nothing was measured, or a text cannot be understood

    """
    if readings is None and not captures:
        raise InputError("nothing was measured: give --readings FILE, --capture LINE=FILE, or both", key="verify")
    words = {"picture": picture, "load": load, "place": place, "coupling": coupling}
    said = {key: _words(key, texts) for key, texts in words.items() if texts}
    read = None if accuracy is None else parse_accuracy(accuracy, "V", key="--accuracy")
    return Given(readings, tuple(_capture(text) for text in captures), sync, said, read)


def _capture(text: str) -> CaptureFile:
    line, equals, place = text.partition("=")
    file, mark, channel = place.rpartition("#") if "#" in place else (place, "", "")
    if not equals or not line.strip() or not file.strip() or (mark and not channel.strip()):
        raise InputError(
            f"'{shown(text)}' does not name a line and a file; write LINE=FILE, such as red=scope.csv, or"
            " LINE=FILE#CHANNEL",
            key="--capture",
        )
    return CaptureFile(line.strip(), Path(file.strip()), channel.strip() or None)


def _words(key: str, texts: Sequence[str]) -> Mapping[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        line, _, word = text.partition("=") if "=" in text else (ALL, "", text)
        if word not in WORDS[key]:
            raise InputError(
                f"'{shown(word)}' is not accepted; write one of {accepted(WORDS[key])}{nearest(word, WORDS[key])},"
                " alone or as LINE=WORD",
                key=f"--{key}",
            )
        if line in found:
            raise InputError(f"says two things of {line or 'all captures'}", key=f"--{key}")
        found[line] = word
    return found
