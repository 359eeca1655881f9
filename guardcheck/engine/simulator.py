"""One ngspice in this process, reached through PySpice, with our own verdict on what it says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from guardcheck.engine.script import Array

_COMMANDS_BEFORE_FORGETTING = 50


class Simulator(Protocol):
    """The few things the engine asks of ngspice."""

    version: str
    log: list[str]
    exited: bool

    def load(self, lines: Sequence[str]) -> bool:
        """Load a deck; True when ngspice did not complain by return code."""

    def command(self, text: str) -> None:
        """Send one command; what it prints stands in `log`."""

    def current_plot(self) -> str:
        """Return the name of the newest plot."""

    def vector(self, plot: str, name: str) -> Array | None:
        """Return a copy of one vector [SI], or None when there is none."""


def open_simulator(path: str) -> Simulator:
    """Load libngspice from `path` through PySpice and start it.

    PySpice finds fault with harmless lines and finds none with stale results, so its error policy is replaced: every
    line is collected and judged by `guardcheck.engine.judge`. Status and data callbacks stay unset: they cost time.

    Raises
    ------
    OSError, NameError : the library cannot be loaded or started

    """
    simulator: Simulator = _quiet_class()(path)
    return simulator


def _quiet_class() -> Any:  # noqa: C901 - the methods below count as one function, because PySpice loads only here
    from PySpice.Spice.NgSpice import Shared

    ffi, null = Shared.ffi, Shared.FFI.NULL

    class QuietNgSpice(Shared.NgSpiceShared):  # type: ignore[misc]
        def __init__(self, path: str) -> None:
            self.log: list[str] = []
            self.exited = False
            self.version = ""
            self._path = path
            self._sent = 0
            super().__init__()

        @property
        def library_path(self) -> str:
            return self._path

        @staticmethod
        def _send_char(message: Any, _identity: int, user: Any) -> int:
            ffi.from_handle(user).log.append(ffi.string(message).decode("ascii", "replace"))
            return 0

        @staticmethod
        def _exit(_status: int, _unload: bool, _quit: bool, _identity: int, user: Any) -> int:
            ffi.from_handle(user).exited = True
            return 0

        def _init_ngspice(self, send_data: bool) -> None:
            self._handle = ffi.new_handle(self)
            self._send_char_c = ffi.callback("int (char *, int, void *)", self._send_char)
            self._exit_c = ffi.callback("int (int, bool, bool, int, void *)", self._exit)
            code = self._ngspice_shared.ngSpice_Init(
                self._send_char_c, null, self._exit_c, null, null, null, self._handle
            )
            if code:
                raise NameError(f"it answered {code} when it was started")
            self.command("version -f")
            found = re.search(r"ngspice-(\d+(?:\.\d+)*)", "\n".join(self.log))
            self.version = found.group(1) if found else "unknown"
            self.command("set nomoremode")

        def load(self, lines: Sequence[str]) -> bool:
            self.log = []
            text = "\0".join((*lines, "", "")).encode("ascii")  # one block of memory, and where its lines begin
            held = ffi.new("char[]", text)
            ends = np.flatnonzero(np.frombuffer(text, dtype=np.uint8) == 0)
            starts = np.zeros(len(ends) + 1, dtype=np.uintp)
            starts[1:-1] = ends[:-1] + 1
            starts[:-1] += int(ffi.cast("uintptr_t", held))
            code: int = self._ngspice_shared.ngSpice_Circ(ffi.from_buffer("char *[]", starts))
            return code == 0

        def command(self, text: str) -> None:
            self.log = []
            self._sent += 1
            if self._sent >= _COMMANDS_BEFORE_FORGETTING:  # its command history would grow without end
                self._ngspice_shared.ngSpice_Command(null)
                self._sent = 0
            self._ngspice_shared.ngSpice_Command(text.encode("ascii"))

        def current_plot(self) -> str:
            name: bytes = ffi.string(self._ngspice_shared.ngSpice_CurPlot())
            return name.decode("ascii", "replace")

        def vector(self, plot: str, name: str) -> Array | None:
            info = self._ngspice_shared.ngGet_Vec_Info(f"{plot}.{name}".encode("ascii"))
            if info == null or info.v_length <= 0:
                return None
            if info.v_compdata != null:
                return np.frombuffer(ffi.buffer(info.v_compdata, info.v_length * 16), dtype=np.complex128).copy()
            if info.v_realdata == null:
                return None
            return np.frombuffer(ffi.buffer(info.v_realdata, info.v_length * 8), dtype=np.float64).copy()

    return QuietNgSpice
