"""Test waveforms, made of corners: ``(time [s], level)`` with levels named by signal state."""

from guardcheck.signals.scanline import Corner, Timing, scan_line

__all__ = ["Corner", "Timing", "scan_line"]
