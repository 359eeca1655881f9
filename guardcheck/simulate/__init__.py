"""What is asked of the engine about one chain: levels, responses, stress, comparisons, remedies."""
