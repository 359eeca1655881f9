"""What travels over the pipes of a worker process.

A worker runs ngspice on a stranger's circuit, so what it sends back is not believed: plain numbers in a frame of a
bounded size, with a head that says what they are. Nothing in a frame can run. What the parent sends is its own.
"""

from __future__ import annotations

import json
import math
import pickle
import struct
from typing import Any, BinaryIO

import numpy as np

from guardcheck.engine.script import Answer

READY, MISSING, BEAT, DONE, BROKEN = "ready", "missing", "beat", "done", "broken"
_SIZE = struct.Struct("<QI")
_MOST = 1 << 30
"""Largest frame a worker may send [bytes]: what its own memory is bounded to."""
_MOST_HEAD = 1 << 20
_TYPES = {"f": np.dtype("<f8"), "c": np.dtype("<c16"), "b": np.dtype("?")}
_ARRAYS = ("table", "solved", "axis")


def order(pipe: BinaryIO, work: object) -> None:
    """Write one order to a worker: a script and its values."""
    body = pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(struct.pack("<Q", len(body)) + body)
    pipe.flush()


def ordered(pipe: BinaryIO) -> Any:
    """Read one order, in the worker; raises EOFError when the parent is gone."""
    (size,) = struct.unpack("<Q", _exactly(pipe, 8))
    return pickle.loads(_exactly(pipe, size))


def reply(pipe: BinaryIO, kind: str, content: Answer | str | None = None) -> None:
    """Write one message of a worker: a word with a text, or the answer to an order."""
    head: dict[str, Any] = {"kind": kind}
    bodies: list[bytes] = []
    if isinstance(content, Answer):
        head |= {"help": list(content.help_used), "words": content.words, "exited": content.exited}
        for name in _ARRAYS:
            array = getattr(content, name)
            if array is not None:
                code = {"f": "f", "c": "c", "b": "b"}[array.dtype.kind]
                head[name] = [code, *array.shape]
                bodies.append(np.ascontiguousarray(array, _TYPES[code]).tobytes())
    elif content is not None:
        head["text"] = content
    top = json.dumps(head).encode("ascii")
    pipe.write(_SIZE.pack(len(top) + sum(map(len, bodies)), len(top)) + top)
    for body in bodies:
        pipe.write(body)
    pipe.flush()


def heard(pipe: BinaryIO) -> tuple[str, Answer | str | None]:
    """Read one message of a worker.

    Raises
    ------
    EOFError
        the worker is gone
    ValueError
        the frame is not one of ours

    """
    size, top = _SIZE.unpack(_exactly(pipe, _SIZE.size))
    if not top <= size <= _MOST or top > _MOST_HEAD:
        raise ValueError("a frame of an impossible size")
    head = json.loads(_exactly(pipe, top))
    body = memoryview(_exactly(pipe, size - top))
    kind = head["kind"]
    if kind != DONE:
        text = head.get("text")
        return str(kind), None if text is None else str(text)
    arrays: dict[str, Any] = {}
    for name in _ARRAYS:
        arrays[name] = None
        if name in head:
            code, *shape = head[name]
            length = math.prod(shape) * _TYPES[code].itemsize
            if any(not isinstance(n, int) or n < 0 for n in shape) or length > len(body):
                raise ValueError("a frame with less numbers than it says")
            arrays[name] = np.frombuffer(body[:length], _TYPES[code]).reshape(shape).copy()
            body = body[length:]
    if len(body) or arrays["solved"] is None:
        raise ValueError("a frame with other numbers than it says")
    words = head["words"]
    return kind, Answer(
        arrays["table"],
        arrays["solved"],
        arrays["axis"],
        tuple(str(one) for one in head["help"]),
        None if words is None else str(words),
        bool(head["exited"]),
    )


def _exactly(pipe: BinaryIO, size: int) -> bytes:
    data = pipe.read(size)
    if len(data) < size:
        raise EOFError
    return data
