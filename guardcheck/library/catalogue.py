"""The library: which parts and models there are, and where they come from.

A part is a folder ``<kind>s/<name>/`` with ``<name>.cir`` and ``<name>.toml``; a device model is the same pair in
``models/``. Nothing is listed anywhere: what stands in a folder is in the library. A user's own folder is searched
first, so it may add parts or stand in for ours; the result records which file was used.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from guardcheck.errors import CircuitError, accepted, nearest
from guardcheck.files import digest_of
from guardcheck.library.devices import Device, device_names, device_of
from guardcheck.library.metadata import check_ports, part_of
from guardcheck.library.own import own_part, stated_ratings
from guardcheck.library.pins import FOLDER as PIN_FOLDER
from guardcheck.library.pins import read_family
from guardcheck.library.wirings import FOLDER as WIRING_FOLDER
from guardcheck.library.wirings import ROLES_FILE, read_roles, read_wiring
from guardcheck.model import KINDS, CircuitUsed, Part, PinFamily, Role, Subcircuit, Wiring
from guardcheck.netlist import parse, parse_models, read_bytes
from guardcheck.toml_tables import read_table
from guardcheck.units import shown

PACKAGE = Path(__file__).resolve().parent.parent
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


@dataclass(frozen=True)
class Shelf:
    """A folder of parts; `label` is how it is called in messages."""

    path: Path
    label: str

    def names(self, folder: str) -> frozenset[str]:
        """Return the names of the parts in one of its folders."""
        place = self.path / folder
        try:
            found = {entry.stem if folder == "models" else entry.name for entry in place.iterdir()}
        except (FileNotFoundError, NotADirectoryError):
            return frozenset()
        except OSError as problem:
            raise CircuitError(f"cannot be read ({problem.strerror})", file=self.shown(place)) from None
        return frozenset(name for name in found if _NAME.fullmatch(name))

    def files(self, folder: str) -> frozenset[str]:
        """Return the names of the single metadata files in one of its folders."""
        place = self.path / folder
        found = {entry.stem for entry in place.glob("*.toml")} if place.is_dir() else set()
        return frozenset(name for name in found if _NAME.fullmatch(name))

    def pair(self, folder: str, name: str) -> tuple[Path, Path] | None:
        """Return netlist and metadata of a part, or None when this shelf does not have it."""
        place = self.path / folder if folder == "models" else self.path / folder / name
        pair = place / f"{name}.cir", place / f"{name}.toml"
        return pair if name in self.names(folder) else None

    def shown(self, path: Path) -> str:
        """Return a file's path as it is shown in messages."""
        return f"{self.label}/{path.relative_to(self.path).as_posix()}"

    @property
    def name(self) -> str:
        """The folder's bare name, for results: where it lies on somebody's disk is no part of them."""
        return Path(self.label).name or self.path.resolve().name


@dataclass(frozen=True)
class Library:
    """Parts and device models on one or two shelves, read when they are first asked for."""

    shelves: tuple[Shelf, ...]
    _parts: dict[tuple[str, str], Part] = field(default_factory=dict, repr=False, compare=False)
    _devices: dict[str, Device] = field(default_factory=dict, repr=False, compare=False)
    _pins: dict[str, PinFamily] = field(default_factory=dict, repr=False, compare=False)
    _wirings: dict[str, Wiring] = field(default_factory=dict, repr=False, compare=False)
    _hidden: dict[tuple[str, str], str] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def load(cls, extra: Path | None = None) -> Library:
        """Return the library: the user's folder `extra` first, if any, then the one that comes with guardcheck.

        Raises
        ------
        CircuitError
            a folder is not there

        """
        shelves = [Shelf(_supplied(), "circuits")]
        if extra is not None:
            if not extra.is_dir():
                raise CircuitError("is not a folder; name the folder that holds your own parts", file=str(extra))
            shelves.insert(0, Shelf(extra, str(extra)))
        return cls(tuple(shelves))

    def names(self, kind: str) -> tuple[str, ...]:
        """Return the names of all parts of a kind (or of all ``model``s), sorted."""
        folder = _folder(kind)
        return tuple(sorted(frozenset().union(*(shelf.names(folder) for shelf in self.shelves))))

    def get(self, kind: str, name: str) -> Part:
        """Return a part.

        Raises
        ------
        CircuitError
            there is none of that name (the sentence lists those there are), or its files do not fit together

        """
        if (kind, name) not in self._parts:
            now = self._renamed(kind, name)
            if now is not None:
                return self.get(kind, now)
            shelf, netlist, metadata = self._find(kind, name)
            file = shelf.shown(netlist)
            top, meta_bytes = read_table(metadata, error=CircuitError, shown_as=shelf.shown(metadata))
            net_bytes = read_bytes(netlist, within=shelf.path)
            circuit = parse(net_bytes, file=file)
            if circuit.name != name.replace("-", "_"):
                raise CircuitError(f"defines '{circuit.name}'; '{name.replace('-', '_')}' is wanted", file=file)
            self._parts[kind, name] = part_of(
                kind, name, circuit, top, self._devices_of(circuit), file=file, sha256=digest_of(net_bytes, meta_bytes)
            )
        return self._parts[kind, name]

    def own(self, kind: str, path: Path, within: Path | None) -> Part:
        """Return a user's own netlist in the place of a part; what it means comes from ``own/<kind>.toml``.

        `within` is the folder the file must lie in; None lets it lie anywhere.
        """
        key = f"own {kind}", str(path)
        if key not in self._parts:
            inside = within is not None and path.is_relative_to(within)
            file = path.relative_to(within).as_posix() if within is not None and inside else str(path)
            net_bytes = read_bytes(path, within=within)
            circuit = parse(net_bytes, file=file)
            check_ports(kind, circuit)
            top, _ = read_table(self.shelves[-1].path / "own" / f"{kind}.toml", error=CircuitError)
            self._parts[key] = own_part(
                kind,
                circuit,
                top,
                self._devices_of(circuit),
                file=file,
                sha256=digest_of(net_bytes),
                stated=stated_ratings(net_bytes.decode("utf-8", "replace"), file=file),
            )
        return self._parts[key]

    @property
    def own_standards(self) -> Path | None:
        """The user's folder of standards, if there is a user's shelf."""
        return self.shelves[0].path / "standards" if len(self.shelves) > 1 else None

    def supplied(self, part: Part) -> bool:
        """Tell whether a part is one that comes with guardcheck: its checks have been run, others' are declared."""
        return self._find(part.kind, part.name)[0] is self.shelves[-1]

    def pin_names(self) -> tuple[str, ...]:
        """Return the names of all families of pins, sorted."""
        found = (shelf.files(PIN_FOLDER) for shelf in self.shelves)
        return tuple(sorted(frozenset().union(*found)))

    def pin(self, name: str) -> PinFamily:
        """Return the rating set of a family of pins.

        Raises
        ------
        CircuitError
            there is none of that name (the sentence lists those there are), or its file is not right

        """
        if name not in self._pins:
            for shelf in self.shelves:
                if name in shelf.files(PIN_FOLDER):
                    path = shelf.path / PIN_FOLDER / f"{name}.toml"
                    self._pins[name] = read_family(name, path, shown=shelf.shown(path))
                    break
            else:
                known = self.pin_names()
                raise CircuitError(
                    f"there is no family of pins '{name[:40]}'; accepted: {accepted(known) or 'none'}"
                    f"{nearest(name, known)}"
                )
        return self._pins[name]

    def wiring_names(self) -> tuple[str, ...]:
        """Return the names of all wiring systems, sorted."""
        return tuple(sorted(frozenset().union(*(shelf.files(WIRING_FOLDER) for shelf in self.shelves))))

    def wiring(self, name: str) -> Wiring:
        """Return a wiring system.

        Raises
        ------
        CircuitError
            there is none of that name (the sentence lists those there are), or its file is not right

        """
        if name not in self._wirings:
            shelf = next((one for one in self.shelves if name in one.files(WIRING_FOLDER)), None)
            if shelf is None:
                known = self.wiring_names()
                raise CircuitError(
                    f"there is no wiring system '{shown(name, 40)}'; accepted: {accepted(known) or 'none'}"
                    f"{nearest(name, known)}"
                )
            path = shelf.path / WIRING_FOLDER / f"{name}.toml"
            self._wirings[name] = read_wiring(name, path, self.roles(), shown=shelf.shown(path))
        return self._wirings[name]

    def roles(self) -> Mapping[str, Role]:
        """Return every role a contact can have; a user's own folder may add roles or stand in for ours."""
        found: dict[str, Role] = {}
        for shelf in reversed(self.shelves):
            path = shelf.path / ROLES_FILE
            if path.is_file():
                found |= read_roles(path, shown=shelf.shown(path))
        return found

    def model(self, name: str) -> Device:
        """Return a device model by its name in the library (``1n4148``) or in a netlist (``d1n4148``)."""
        if name not in self._devices:
            known = self.names("model")
            spelled = next((one for one in device_names(name) if one in known), name)
            shelf, netlist, metadata = self._find("model", spelled)
            top, meta_bytes = read_table(metadata, error=CircuitError, shown_as=shelf.shown(metadata))
            net_bytes = read_bytes(netlist, within=shelf.path)
            models = parse_models(net_bytes, file=shelf.shown(netlist))
            device = device_of(spelled, models, top, file=shelf.shown(netlist), sha256=digest_of(net_bytes, meta_bytes))
            self._devices.update({spelled: device, device.model.name: device})
        return self._devices[name]

    @property
    def used(self) -> tuple[CircuitUsed, ...]:
        """Everything read so far, sorted by kind and name."""
        parts = {CircuitUsed(part.name, part.kind, self._bare(part.file), part.sha256) for part in self._parts.values()}
        models = {CircuitUsed(one.name, "model", self._bare(one.file), one.sha256) for one in self._devices.values()}
        pins = {CircuitUsed(one.name, "pin", self._bare(one.file), one.sha256) for one in self._pins.values()}
        wirings = {CircuitUsed(one.name, "wiring", one.file, one.sha256) for one in self._wirings.values()}
        return tuple(sorted(parts | models | pins | wirings, key=lambda one: (one.kind, one.name, one.file)))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Return a sentence for every part read so far that stands in for a supplied one of the same name."""
        return tuple(
            f"{kind} '{name}' is the one in {self._bare(file)}, not the {kind} of that name that comes with guardcheck"
            for (kind, name), file in sorted(self._hidden.items())
        )

    def _bare(self, file: str) -> str:
        """Return a file as results name it: beside its shelf's or its own bare name, never by a place on this disk."""
        for shelf in self.shelves:
            if file.startswith(f"{shelf.label}/"):
                return f"{shelf.name}{file.removeprefix(shelf.label)}"
        return Path(file).name if Path(file).is_absolute() else file

    def _find(self, kind: str, name: str) -> tuple[Shelf, Path, Path]:
        folder = _folder(kind)
        for shelf in self.shelves if _NAME.fullmatch(name) else ():
            pair = shelf.pair(folder, name)
            if pair is None:
                continue
            for path in pair:
                if not path.is_file() or not path.resolve().is_relative_to(shelf.path.resolve()):
                    raise CircuitError(
                        "is missing; a part is a netlist and a metadata file of its name, inside the folder",
                        file=shelf.shown(path),
                    )
            if any(name in other.names(folder) for other in self.shelves[self.shelves.index(shelf) + 1 :]):
                self._hidden[kind, name] = shelf.shown(pair[0])
            return shelf, *pair
        known = self.names(kind)
        raise CircuitError(
            f"there is no {kind} '{shown(name, 40)}'; accepted: {accepted(known) or 'none'}{nearest(name, known)}"
        )

    def _renamed(self, kind: str, name: str) -> str | None:
        """Return the part that metadata says was once called `name`; None when there is a part of that name, or none.

        Job files keep working when two parts turn out to be one.
        """
        if name in self.names(kind) or kind == "model":
            return None
        for shelf in self.shelves:
            for one in sorted(shelf.names(_folder(kind))):
                pair = shelf.pair(_folder(kind), one)
                if pair is not None and pair[1].is_file():
                    top, _ = read_table(pair[1], error=CircuitError, shown_as=shelf.shown(pair[1]))
                    if name in top.texts("formerly"):
                        return one
        return None

    def _devices_of(self, circuit: Subcircuit) -> tuple[Device, ...]:
        try:
            return tuple(self.model(name) for name in sorted(circuit.model_names))
        except CircuitError as problem:
            if problem.file is not None:
                raise
            raise CircuitError(problem.problem, file=circuit.file or None) from None


def _supplied() -> Path:
    for path in (PACKAGE / "_circuits", PACKAGE.parent / "circuits"):
        if path.is_dir():
            return path
    raise CircuitError("the circuit library that comes with guardcheck is missing; install it again", file=str(PACKAGE))


def _folder(kind: str) -> str:
    if kind not in (*KINDS, "model"):
        raise CircuitError(f"there is no kind of part '{kind}'; accepted: {accepted(KINDS)}{nearest(kind, KINDS)}")
    return f"{kind}s"
