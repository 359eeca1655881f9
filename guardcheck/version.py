"""The version of guardcheck: here and nowhere else. It stands in every result."""

__version__ = "0.1.0"
