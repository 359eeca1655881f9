"""A result as one page of HTML."""
