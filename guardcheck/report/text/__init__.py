"""Results in a terminal."""
