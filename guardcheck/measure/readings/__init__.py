"""Readings typed in: read strictly, scaled to 100 % white into 75 ohm, each with an uncertainty budget (GUM, k = 2)."""

from guardcheck.measure.readings.evaluate import Circumstances, evaluate
from guardcheck.measure.readings.instruments import Figure, presumed
from guardcheck.measure.readings.reader import parse_file, parse_readings, read_readings, unknown_lines
from guardcheck.measure.readings.records import READABLE, CaptureNote, Evaluation, Reading, ReadingsFile
from guardcheck.measure.readings.template import new_readings_text
from guardcheck.metrology import Accuracy, Budget, Contribution, parse_accuracy

__all__ = [
    "READABLE",
    "Accuracy",
    "Budget",
    "CaptureNote",
    "Circumstances",
    "Contribution",
    "Evaluation",
    "Figure",
    "Reading",
    "ReadingsFile",
    "evaluate",
    "new_readings_text",
    "parse_accuracy",
    "parse_file",
    "parse_readings",
    "presumed",
    "read_readings",
    "unknown_lines",
]
