"""A worker process: one ngspice, its own empty folder, limits set by the operating system, frames over two pipes.

ngspice may hang, crash, eat memory, ask its host to exit, or read a start file that runs a shell. None of that may
reach the program that wants an answer, so it lives here and is replaced when it misbehaves.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from typing import TYPE_CHECKING, Any, BinaryIO

from guardcheck.engine.frames import BEAT, BROKEN, DONE, MISSING, READY, ordered, reply

if TYPE_CHECKING:
    from guardcheck.engine.script import Answer

_BEAT_EVERY = 0.2  # s
_MARGIN = 5.0  # s the parent has to act before the worker ends itself


def main() -> None:
    """Serve blocks until the parent closes the pipe. Arguments: library path, wall limit [s], memory limit [bytes]."""
    path, wall_limit, memory = sys.argv[1], float(sys.argv[2]), int(sys.argv[3])
    source, sink = _claim_pipes()
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what Ctrl-C ends
    try:
        from guardcheck.engine.simulator import open_simulator

        simulator = open_simulator(path)
    except Exception as error:
        reply(sink, MISSING, f"{type(error).__name__}: {error}")
        return
    _limit_resources(memory)
    reply(sink, READY, simulator.version)
    _serve(source, sink, simulator, wall_limit)


def _serve(source: BinaryIO, sink: BinaryIO, simulator: Any, wall_limit: float) -> None:
    from guardcheck.engine.blocks import solve
    from guardcheck.engine.session import Session

    last = 0.0
    every = min(_BEAT_EVERY, wall_limit / 5.0)

    def beat() -> None:
        nonlocal last
        now = time.monotonic()
        if now - last > every:
            last = now
            _end_after(wall_limit + _MARGIN)
            reply(sink, BEAT)

    session = Session(simulator, beat)
    while True:
        try:
            script, values = ordered(source)
        except EOFError:
            return
        last = time.monotonic()
        _end_after(wall_limit + _MARGIN)
        _end_with_parent(source.fileno(), True)
        content: Answer | str
        try:
            kind, content = DONE, solve(session, script, values)
        except MemoryError:
            os._exit(1)  # the parent sees a crash and starts afresh
        except Exception as error:
            kind, content = BROKEN, f"{type(error).__name__}: {error}"
        _end_with_parent(source.fileno(), False)
        _end_after(0.0)
        reply(sink, kind, content)
        if simulator.exited:
            return


def _claim_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Keep both pipes to ourselves: whatever ngspice prints or reads by itself must not meet the frames."""
    source, sink = os.dup(0), os.dup(1)
    if sys.platform == "win32":
        import msvcrt

        msvcrt.setmode(source, os.O_BINARY)
        msvcrt.setmode(sink, os.O_BINARY)
    nothing = os.open(os.devnull, os.O_RDWR)
    for standard in (0, 1, 2):
        os.dup2(nothing, standard)
    os.close(nothing)
    return os.fdopen(source, "rb"), os.fdopen(sink, "wb")


def _limit_resources(memory: int) -> None:
    """Bound memory, forbid files and core dumps, where the operating system can."""
    if sys.platform == "win32":
        return
    import resource

    for name, bound in (("RLIMIT_AS", _in_use() + memory), ("RLIMIT_FSIZE", 0), ("RLIMIT_CORE", 0)):
        kind = getattr(resource, name, None)
        if kind is None:
            continue
        try:
            _, hard = resource.getrlimit(kind)
            limit = bound if hard == resource.RLIM_INFINITY else min(bound, hard)
            resource.setrlimit(kind, (limit, limit))
        except (OSError, ValueError):
            continue  # macOS refuses some of them; the wall clock still holds


def _in_use() -> int:
    """Return the address space in use [bytes], 0 where it cannot be told."""
    try:
        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123 - pathlib is not loaded here
            return int(file.read().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError):
        return 0


def _end_after(seconds: float) -> None:
    """Let the kernel end this process, should the parent be gone and ngspice hang; 0 takes it back."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _end_with_parent(descriptor: int, on: bool) -> None:
    """While ngspice runs, let Linux end this process the moment the parent's end of the pipe closes."""
    if sys.platform != "linux":
        return
    import fcntl

    flags = fcntl.fcntl(descriptor, fcntl.F_GETFL)
    fcntl.fcntl(descriptor, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(descriptor, fcntl.F_SETFL, flags | os.O_ASYNC if on else flags & ~os.O_ASYNC)


if __name__ == "__main__":
    main()
