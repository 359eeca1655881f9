"""Test waveforms, made of corners: ``(time [s], level)`` with levels named by signal state."""

from guardcheck.signals.bars import Bars, colour_bars
from guardcheck.signals.ladder import code_levels
from guardcheck.signals.scanline import Corner, Timing, scan_line

__all__ = ["Bars", "Corner", "Timing", "code_levels", "colour_bars", "scan_line"]
