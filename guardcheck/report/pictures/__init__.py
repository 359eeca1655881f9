"""Curves and bars as SVG."""
