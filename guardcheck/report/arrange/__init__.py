"""What a report says and in which order, before any format."""
