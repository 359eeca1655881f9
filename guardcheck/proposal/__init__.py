"""What to fit instead: single remedies for what fails, and whole builds that conform and hold. Always simulated."""
