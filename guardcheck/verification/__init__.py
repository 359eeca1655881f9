"""What was measured beside the plan, and why it differs."""
