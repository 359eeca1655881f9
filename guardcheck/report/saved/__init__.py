"""Results saved as JSON, read back and compared."""
