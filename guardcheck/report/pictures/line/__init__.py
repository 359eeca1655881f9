"""The line drawn: structure, layout, strokes."""
