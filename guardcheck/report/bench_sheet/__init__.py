"""The sheet that is filled in at the bench."""
