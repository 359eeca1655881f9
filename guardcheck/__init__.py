"""Check analogue-video mods: are the levels right, and does the pin survive the bench."""

__version__ = "0.1.0"
