"""Stress events on one chain: what drives them, their runs, ratings and margins."""
