"""From numbers and limits to outcomes, and from plan and readings to a hand-over."""
