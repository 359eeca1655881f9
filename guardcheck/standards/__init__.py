"""Video standards as data: one file per standard, found by scanning this folder."""

from guardcheck.standards.loader import limit_of, load_standard, standard_names

__all__ = ["limit_of", "load_standard", "standard_names"]
