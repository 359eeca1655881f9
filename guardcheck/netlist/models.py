"""`.model` cards: which kinds and parameter names are accepted, and the reader for them.

A simulator ignores a parameter name it does not know after a mere warning, so a misspelt breakdown voltage would
quietly vanish. Names are therefore listed here: ngspice manual, chapters on diodes, BJTs, JFETs, MOSFETs (level 1) and
switches. Spellings that mean the same are folded into one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from guardcheck.errors import accepted, nearest
from guardcheck.model import Model
from guardcheck.netlist.evaluate import evaluate
from guardcheck.netlist.expression import ExpressionError
from guardcheck.netlist.fields import Fields, model_name
from guardcheck.netlist.place import quoted

_DIODE = (
    "level is jsw n ns rs bv ibv nbv cjo vj m cjp php mjsw fc fcs tt eg xti ik ikr kf af tnom trs1 trs2 tcv tm1 tm2"
)
_BIPOLAR = (
    "is bf nf vaf ikf ise ne br nr var ikr isc nc rb irb rbm re rc cje vje mje tf xtf vtf itf ptf cjc vjc mjc xcjc tr "
    "cjs vjs mjs xtb eg xti kf af fc tnom"
)
_JUNCTION_FET = "vto beta lambda rd rs cgs cgd pb is b fc kf af tnom"
_MOSFET = (
    "level vto kp gamma phi lambda rd rs cbd cbs is pb cgso cgdo cgbo rsh cj mj cjsw mjsw js tox nsub nss tpg ld uo fc "
    "kf af tnom"
)

PARAMETERS: Mapping[str, frozenset[str]] = {
    "d": frozenset(_DIODE.split()),
    "npn": frozenset(_BIPOLAR.split()),
    "pnp": frozenset(_BIPOLAR.split()),
    "njf": frozenset(_JUNCTION_FET.split()),
    "pjf": frozenset(_JUNCTION_FET.split()),
    "nmos": frozenset(_MOSFET.split()),
    "pmos": frozenset(_MOSFET.split()),
    "sw": frozenset({"vt", "vh", "ron", "roff"}),
    "csw": frozenset({"it", "ih", "ron", "roff"}),
}
SAME: Mapping[str, Mapping[str, str]] = {
    "d": {"cj0": "cjo", "cj": "cjo", "js": "is", "pb": "vj", "mj": "m", "cjsw": "cjp", "vjsw": "php", "ikf": "ik"},
    "npn": {"va": "vaf", "vb": "var", "ik": "ikf", "pe": "vje", "me": "mje", "pc": "vjc", "mc": "mjc", "ccs": "cjs"},
}
MODELS_FOR: Mapping[str, tuple[str, ...]] = {
    "d": ("d",),
    "q": ("npn", "pnp"),
    "j": ("njf", "pjf"),
    "m": ("nmos", "pmos"),
    "s": ("sw",),
}
"""Kinds of model an element letter may refer to."""

USAGE = ".model NAME KIND (NAME=VALUE ...)"


def read_model(fields: Fields) -> Model:
    """Return the model of a `.model` card whose first word is already taken.

    Raises
    ------
    CircuitError
        for an unknown kind or parameter, a parameter given twice, a value that is not a constant, a diode without a
        series resistance, a resistance that is not above zero

    """
    name = model_name(fields.word("the model's name"), fields.place)
    fields.place = fields.place.at(key=name)
    kind = fields.word("the kind of model").lower()
    if kind not in PARAMETERS:
        choice = f"{nearest(kind, PARAMETERS)}; accepted: {accepted(PARAMETERS)}"
        raise fields.place.error(f"{quoted(kind)} is not an accepted kind of model{choice}")
    opened = fields.accept("(") is not None
    parameters: dict[str, float] = {}
    while fields.left and not fields.word_is(")"):
        key, value = _parameter(fields, kind)
        if key in parameters:
            raise fields.place.error(f"the model parameter {quoted(key)} is given twice")
        parameters[key] = value
    if opened:
        fields.expect(")")
    fields.end()
    _check(fields, kind, parameters)
    return Model(name, kind, parameters)


def _parameter(fields: Fields, kind: str) -> tuple[str, float]:
    written = fields.word("a parameter").lower()
    same = SAME.get("npn" if kind == "pnp" else kind, {})
    key = same.get(written, written)
    if key not in PARAMETERS[kind]:
        known = PARAMETERS[kind] | set(same)
        raise fields.place.error(
            f"a model of kind {kind} has no parameter {quoted(written)}{nearest(written, known)}; "
            f"accepted: {accepted(known)}"
        )
    fields.expect("=")
    try:
        return key, float(evaluate(fields.value(f"the value of {key}"), {}))
    except ExpressionError as error:
        raise fields.place.error(str(error)) from None


def _check(fields: Fields, kind: str, parameters: Mapping[str, float]) -> None:
    if parameters.get("level", 1.0) != 1.0:
        raise fields.place.error("only level=1 models are accepted")
    if kind == "d" and "rs" not in parameters:
        raise fields.place.error(
            "a diode model must give its series resistance, such as rs=0.6: surge currents hang on it, and newer "
            "simulators put in a value of their own"
        )
    for key in ("rs", "ron", "roff", "bv") if kind in ("d", "sw", "csw") else ():
        if key in parameters and not (parameters[key] > 0.0 and math.isfinite(parameters[key])):
            raise fields.place.error(f"{key} must be greater than 0, not {parameters[key]:g}")
