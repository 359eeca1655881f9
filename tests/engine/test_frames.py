"""Frames of a worker process: numbers come back bit for bit, and nothing that is sent can run in the parent."""

from __future__ import annotations

import io
import json
import os
import pickle
import struct
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.engine.frames import BEAT, BROKEN, DONE, READY, heard, reply
from guardcheck.engine.script import Answer

NAN = float("nan")
ANSWERS = [
    Answer(np.array([[0.1, NAN], [-0.0, 1e-308]]), np.array([True, False]), words="ngspice said \u00b5"),
    Answer(np.arange(12.0).reshape(2, 3, 2), np.ones(2, bool), np.array([1.0, 2.0]), ("gmin stepping",)),
    Answer(np.array([[[1 + 2j, 3 - 4j]]]), np.ones(1, bool), np.array([1e3, 1e6])),
    Answer(np.arange(6.0).reshape(3, 2)[:, ::-1], np.ones(3, bool)),  # not contiguous
    Answer(None, np.zeros(3, bool), exited=True),
]


def sent(kind: str, content: Answer | str | None = None) -> bytes:
    pipe = io.BytesIO()
    reply(pipe, kind, content)
    return pipe.getvalue()


@pytest.mark.parametrize("answer", ANSWERS)
def test_an_answer_comes_back_bit_for_bit(answer: Answer) -> None:
    pipe = io.BytesIO(sent(BEAT) + sent(DONE, answer) + sent(READY, "39"))
    assert heard(pipe) == (BEAT, None)
    kind, found = heard(pipe)
    assert kind == DONE
    assert isinstance(found, Answer)
    for name in ("table", "solved", "axis"):
        ours, theirs = getattr(answer, name), getattr(found, name)
        assert (ours is None) == (theirs is None)
        if ours is not None:
            assert theirs.dtype == ours.dtype
            assert theirs.shape == ours.shape
            assert theirs.tobytes() == np.ascontiguousarray(ours).tobytes()
            assert theirs.flags.writeable
    assert (found.help_used, found.words, found.exited) == (answer.help_used, answer.words, answer.exited)
    assert heard(pipe) == (READY, "39")
    with pytest.raises(EOFError):
        heard(pipe)


class Bomb:
    """Pickled, it runs a command where it is read."""

    def __reduce__(self) -> tuple[Any, ...]:
        return os.abort, ()


def framed(head: object, body: bytes = b"") -> bytes:
    top = head if isinstance(head, bytes) else json.dumps(head).encode()
    return struct.pack("<QI", len(top) + len(body), len(top)) + top + body


ANSWER = {"kind": DONE, "help": [], "words": None, "exited": False}


@pytest.mark.parametrize(
    "data",
    [
        pickle.dumps((DONE, Bomb())),
        framed(pickle.dumps(Bomb())),
        struct.pack("<QI", 1 << 62, 8),
        struct.pack("<QI", 4, 1 << 31),
        framed({"kind": DONE}),
        framed(ANSWER),
        framed({**ANSWER, "solved": ["b", 4]}, b"\1\1"),
        framed({**ANSWER, "solved": ["b", 1]}, b"\1\1"),
        framed({**ANSWER, "solved": ["O", 1]}, b"\1" * 8),
        framed({**ANSWER, "solved": ["b", -1, -2]}, b"\1\1"),
        framed({**ANSWER, "solved": ["b", "1"]}, b"\1"),
        framed([1, 2]),
        framed(b"{"),
    ],
)
def test_a_frame_of_somebody_elses_is_refused_and_never_run(data: bytes) -> None:
    with pytest.raises((EOFError, ValueError, LookupError, TypeError)):
        heard(io.BytesIO(data))


@settings(derandomize=True, deadline=None, database=None, max_examples=100)
@given(st.binary(max_size=64))
def test_any_bytes_are_refused_in_the_listeners_own_way(data: bytes) -> None:
    with pytest.raises((EOFError, ValueError, LookupError, TypeError)):
        heard(io.BytesIO(data))


def test_a_word_of_trouble_is_a_word() -> None:
    assert heard(io.BytesIO(sent(BROKEN, "MemoryError: \x1b[2J"))) == (BROKEN, "MemoryError: \x1b[2J")
