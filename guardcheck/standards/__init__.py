"""Video standards as data: one file per standard, found by scanning this folder."""

from guardcheck.standards.loader import load_standard, standard_names

__all__ = ["load_standard", "standard_names"]
