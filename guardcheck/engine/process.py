"""The parent's side of one worker process."""

from __future__ import annotations

import contextlib
import os
import queue
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

from guardcheck.engine.frames import heard, order

_BOOT = (
    "import sys, typing; sys.path.insert(0, sys.argv[4]); import guardcheck; del sys.path[0]; "
    "sys.path += sys.argv[4:]; from guardcheck.engine.worker import main; main()"
)
"""A worker runs the code of its parent, even where another guardcheck is installed."""
_FORGET = ("SPICE", "NGSPICE", "PYTHON", "LD_PRELOAD")
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
_APART: dict[str, Any] = {} if sys.platform == "win32" else {"process_group": 0}
"""Ctrl-C reaches every process of the terminal's group; a worker that has not yet said that it ignores it would die."""
GONE = "gone"


class WorkerProcess:
    """One worker and the thread that listens to it.

    Parameters
    ----------
    library : path of libngspice
    folder : the worker's own empty folder
    inbox : where its messages go, as ``(worker, kind, content)``; ``gone`` when its pipe closes

    """

    def __init__(
        self,
        library: str,
        folder: Path,
        inbox: queue.SimpleQueue[tuple[WorkerProcess, str, Any]],
        wall_limit: float,
        memory: int,
    ) -> None:
        self.ready = False
        self.busy: Any = None  # the batch and block it works on
        self.deadline = float("inf")
        package = str(Path(__file__).resolve().parents[2])
        paths = [package, *(str(Path(entry).resolve()) for entry in sys.path if entry)]
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-c", _BOOT, library, repr(wall_limit), str(memory), *dict.fromkeys(paths)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=folder,
            env=_environment(folder),
            **_APART,
        )
        self._inbox = inbox
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    @property
    def pid(self) -> int:
        """The process id."""
        return self._process.pid

    def send(self, message: object) -> None:
        """Send one message; a worker that is already gone is noticed by the listener."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            order(self._process.stdin, message)  # type: ignore[arg-type]

    def end(self) -> None:
        """End the process at once and free what it held; a worker has nothing to lose."""
        process = self._process
        assert process.stdin is not None
        assert process.stdout is not None
        process.kill()
        process.wait()
        with contextlib.suppress(OSError):
            process.stdin.close()
        self._listener.join()
        process.stdout.close()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        try:
            while True:
                kind, content = heard(self._process.stdout)  # type: ignore[arg-type]
                self._inbox.put((self, kind, content))
        except Exception:  # a torn frame means the same as a closed pipe
            self._inbox.put((self, GONE, None))


def _environment(folder: Path) -> dict[str, str]:
    """Return an environment in which no start file, script folder or thread setting of the user has any effect."""
    kept = {name: value for name, value in os.environ.items() if not name.upper().startswith(_FORGET)}
    home = str(folder)
    return {
        **kept,
        **dict.fromkeys(_THREADS, "1"),
        "HOME": home,
        "USERPROFILE": home,
        "SPICE_SCRIPTS": str(folder / "scripts"),
        "LC_ALL": "C",
    }
