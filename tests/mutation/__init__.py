"""Mutation run over the code that decides: see ``run.py``."""
