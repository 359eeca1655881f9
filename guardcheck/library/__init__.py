"""Parts and device models as data: folders of netlists with their metadata, found by scanning, read when asked for."""

from guardcheck.library.catalogue import Library
from guardcheck.library.checks import Hanging, hanging
from guardcheck.library.devices import Device

__all__ = ["Device", "Hanging", "Library", "hanging"]
