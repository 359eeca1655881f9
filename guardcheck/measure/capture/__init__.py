"""Scope captures: read from delimited text, and analysed into quantities with uncertainty."""

from guardcheck.measure.capture.analyse import analyse, channel_of
from guardcheck.measure.capture.bars import component_of
from guardcheck.measure.capture.join import differs, is_copy
from guardcheck.measure.capture.quantities import NAMES, Settings, nothing
from guardcheck.measure.capture.reader import read_capture
from guardcheck.measure.capture.records import Analysis, Capture, Template

__all__ = [
    "NAMES",
    "Analysis",
    "Capture",
    "Settings",
    "Template",
    "analyse",
    "channel_of",
    "component_of",
    "differs",
    "is_copy",
    "nothing",
    "read_capture",
]
