"""One reading straight from a meter that speaks SCPI: asked, bounded in time and length, never trusted.

PyVISA is loaded only here and only when a meter is asked; it comes with the extra ``instruments``.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, cast

from guardcheck.errors import InputError
from guardcheck.units import shown

ASKS: Mapping[str, tuple[str, str]] = {
    "V": ("MEAS:VOLT:DC?", "VOLT"),
    "ohm": ("MEAS:RES?", "RES"),
    "Hz": ("MEAS:FREQ?", "FREQ"),
}
"""By unit: what is asked (SCPI-99), and what the function is called in the meter's answer."""
OVER_RANGE = 9.9e37
"""What SCPI meters answer when the range is exceeded, either sign (SCPI-99 infinity)."""
TIMES = 3
"""How often a value is read: one reading has no spread."""
LONGEST = 256
"""Longest answer [bytes]."""
PATIENCE = 5.0
"""Longest time one answer may take [s]."""


@dataclass(frozen=True)
class Taken:
    """What a meter said: who it is, and its values [SI]."""

    identity: str
    values: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Mean of the values."""
        return math.fsum(self.values) / len(self.values)

    @property
    def spread(self) -> float:
        """Highest less lowest value."""
        return max(self.values) - min(self.values)


def take(address: str, unit: str, *, backend: str = "@py", patience: float = PATIENCE) -> Taken:
    """Ask a meter for a value, three times.

    Parameters
    ----------
    address
        a VISA address such as ``TCPIP::192.0.2.7::5025::SOCKET``
    unit
        SI unit of what is wanted: V, ohm or Hz
    backend
        PyVISA's word for what carries the dialogue
    patience
        longest time one answer may take [s]

    Raises
    ------
    InputError
        no such instrument, no answer in time, an answer that is no number of the kind asked for, an error the meter
        reports, or a range that is exceeded: one sentence that begins with the address

    """
    if unit not in ASKS:
        raise InputError(f"a meter is asked for V, ohm or Hz; this quantity is in {unit or 'none'}", key="--quantity")
    ask, function = ASKS[unit]
    with _opened(address, backend, patience) as meter:
        identity = meter.query("*IDN?")
        if not identity or not identity.isprintable():
            raise meter.error("does not say who it is (*IDN?)")
        values = [_number(meter, meter.query(ask))]
        values += [_number(meter, meter.query("READ?")) for _ in range(TIMES - 1)]
        does = meter.query("FUNC?").strip('"').upper()
        if not does.startswith(function) or does.endswith(":AC"):
            raise meter.error(f"measures {shown(does, 20)} where {ask} was asked: its answer is of another kind")
        trouble = meter.query("SYST:ERR?")
        if not trouble.lstrip("+").startswith("0"):
            raise meter.error(f"reports an error: {shown(trouble, 80)}")
    return Taken(identity[:120], tuple(values))


def _number(meter: _Meter, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise meter.error(f"answered '{shown(text, 40)}', which is no plain number") from None
    if math.isnan(value):
        raise meter.error("answered that it has no number")
    if abs(value) >= OVER_RANGE:
        raise meter.error("shows over range: there is no value to keep")
    return value


class _Meter:
    """A meter on a line: questions out, bounded answers in."""

    def __init__(self, address: str, resource: Any, patience: float, failures: tuple[type[Exception], ...]) -> None:
        self.address, self.resource, self.patience, self.failures = address, resource, patience, failures

    def error(self, problem: str) -> InputError:
        """Return the error of this meter."""
        return InputError(problem, file=shown(self.address, 80))

    def query(self, question: str) -> str:
        """Return a meter's answer to a question, one line of at most `LONGEST` bytes."""
        self._tried(lambda: self.resource.write(question), "does not take a question")
        until = time.monotonic() + self.patience
        found = bytearray()
        while not found.endswith(b"\n"):
            if len(found) > LONGEST:
                raise self.error(f"sends without end in answer to {question}")
            if time.monotonic() > until:
                raise self.error(f"does not finish its answer to {question} within {self.patience:g} s")
            found += self._tried(lambda: self.resource.read_bytes(1), f"does not answer {question}")
        try:
            return found.decode("ascii").strip()
        except UnicodeDecodeError:
            raise self.error(f"answers {question} with something that is no text") from None

    def _tried(self, do: Callable[[], Any], failure: str) -> Any:
        try:
            return do()
        except self.failures as error:
            said = str(getattr(error, "description", "") or error).strip().rstrip(".")
            raise self.error(f"{failure} ({shown(said, 80)})") from None


class _opened:  # noqa: N801 - reads as what it does
    """An open line to a meter, closed whatever happens."""

    def __init__(self, address: str, backend: str, patience: float) -> None:
        try:
            import pyvisa
        except ImportError:
            raise InputError(
                "a meter is read through PyVISA; install it with: pip install 'guardcheck[instruments]'", key="read"
            ) from None
        failures = (pyvisa.errors.Error, OSError, ValueError, AttributeError, TypeError)
        try:
            self.manager = cast(Any, pyvisa.ResourceManager(backend))
            self.resource = self.manager.open_resource(address)
        except Exception as error:  # whatever a driver throws, it is this address that cannot be opened
            said = str(error).strip().splitlines()
            reason = shown(said[0], 80) if said else type(error).__name__
            raise InputError(f"cannot be opened ({reason})", file=shown(address, 80)) from None
        self.resource.timeout = 1000.0 * patience
        self.resource.write_termination = "\n"
        self.meter = _Meter(address, self.resource, patience, failures)

    def __enter__(self) -> _Meter:
        return self.meter

    def __exit__(self, *_: object) -> None:
        for one in (self.resource, self.manager):
            try:
                one.close()
            except Exception:
                continue
