"""Parts and device models as data: folders of netlists with their metadata, found by scanning, read when asked for."""

from guardcheck.library.catalogue import Library
from guardcheck.library.checks import Hanging, hanging
from guardcheck.library.devices import Device
from guardcheck.library.schema import BENCH_LOAD

__all__ = ["BENCH_LOAD", "Device", "Hanging", "Library", "hanging"]
