"""Device models: one `.model` card with the data-sheet points it was fitted to, and how far they reach."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from guardcheck.errors import CircuitError
from guardcheck.library.checks import checks_of
from guardcheck.library.schema import DEVICE_KEYS, PRINTED, RATINGS, VALID
from guardcheck.model import KNOWN_BY, Check, Model
from guardcheck.toml_tables import Table

PORTS_OF_TYPE: Mapping[str, tuple[str, ...]] = {
    "d": ("a", "k"),
    "npn": ("c", "b", "e"),
    "pnp": ("c", "b", "e"),
    "njf": ("d", "g", "s"),
    "pjf": ("d", "g", "s"),
}
"""Ports of a device by its model type, in the order of its element line."""


@dataclass(frozen=True)
class Device:
    """A device model of the library.

    `valid` says up to which current [A] the model rests on data-sheet points; what is computed beyond is an estimate.
    `ratings` are the data sheet's own limits [SI]. `checks` are its points: only a model that meets them is accepted.
    """

    name: str
    title: str
    purpose: str
    model: Model
    ports: tuple[str, ...]
    valid: Mapping[str, float]
    ratings: Mapping[str, float]
    checks: tuple[Check, ...]
    reference: str
    known_by: str
    file: str
    sha256: str

    @property
    def facts(self) -> Mapping[str, Any]:
        """What a part that uses this device passes on: title, validity, ratings, reference."""
        return {
            "title": self.title,
            "valid": self.valid,
            "ratings": self.ratings,
            "reference": self.reference,
            "known_by": self.known_by,
        }


def device_names(model: str) -> tuple[str, ...]:
    """Return the file names a model may live under: ``d1n4148`` in `d1n4148` or, less its letter, in `1n4148`."""
    spelled = model.replace("_", "-")
    return (spelled, spelled[1:]) if spelled[:1] in "dqj" and len(spelled) > 1 else (spelled,)


def device_of(name: str, models: tuple[Model, ...], top: Table, *, file: str, sha256: str) -> Device:
    """Return the device a model file and its metadata describe."""
    if len(models) != 1 or name not in device_names(models[0].name):
        found = ", ".join(model.name for model in models) or "none"
        wanted = name.replace("-", "_")
        raise CircuitError(f"holds the models {found}; one model named {wanted} or d{wanted} is wanted", file=file)
    top.only(*DEVICE_KEYS)
    model = models[0]
    ports = PORTS_OF_TYPE.get(model.type)
    if ports is None or top.texts("ports") != ports:
        top.refuse("ports", f"a model of type {model.type} has the ports {ports and list(ports)}")
    valid = top.table("valid")
    valid.only(*VALID, "meaning")
    reach = valid.reals(VALID)
    if not reach:
        valid.refuse(None, "says nothing; write up to which current the data-sheet points reach")
    ratings = top.table("ratings")
    ratings.only(*RATINGS, *PRINTED, "reference")
    return Device(
        name=name,
        title=top.text("title"),
        purpose=top.text("purpose"),
        model=model,
        ports=ports,
        valid=reach,
        ratings=ratings.reals({**RATINGS, **PRINTED}),
        checks=checks_of(top, ports, {}),
        reference=top.text("reference"),
        known_by=top.word("known_by", tuple(KNOWN_BY)),
        file=file,
        sha256=sha256,
    )
