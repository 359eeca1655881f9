"""Readings typed in: read strictly, scaled to 100 % white into 75 ohm, each with an uncertainty budget (GUM, k = 2)."""

from guardcheck.measure.readings.accuracy import Accuracy, parse_accuracy
from guardcheck.measure.readings.budget import Budget, Contribution
from guardcheck.measure.readings.evaluate import Circumstances, evaluate
from guardcheck.measure.readings.instruments import Figure, presumed
from guardcheck.measure.readings.reader import parse_readings, read_readings, unknown_lines
from guardcheck.measure.readings.records import READABLE, Evaluation, Reading
from guardcheck.measure.readings.template import new_readings_text

__all__ = [
    "READABLE",
    "Accuracy",
    "Budget",
    "Circumstances",
    "Contribution",
    "Evaluation",
    "Figure",
    "Reading",
    "evaluate",
    "new_readings_text",
    "parse_accuracy",
    "parse_readings",
    "presumed",
    "read_readings",
    "unknown_lines",
]
