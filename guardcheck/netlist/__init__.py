"""The SPICE reader and writer: a stranger's text never reaches the simulator.

`parse` and `read_file` read a whitelist into a `Subcircuit`; `flatten` works every parameter out in Python and gives
flat cards with plain numbers; `deck_lines` writes them as canonical text. The simulator sees no comment, parameter,
brace, subcircuit or include.
"""

from guardcheck.netlist.files import read_bytes, read_file
from guardcheck.netlist.flatten import calls_of, defaults, flat_name, flatten, models_of
from guardcheck.netlist.reader import parse, parse_models
from guardcheck.netlist.writer import card, deck_lines, split_variants

__all__ = [
    "calls_of",
    "card",
    "deck_lines",
    "defaults",
    "flat_name",
    "flatten",
    "models_of",
    "parse",
    "parse_models",
    "read_bytes",
    "read_file",
    "split_variants",
]
