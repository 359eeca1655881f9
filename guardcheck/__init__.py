"""guardcheck: is this analogue-video mod right, and does its pin survive the bench?"""

__version__ = "0.1.0"
