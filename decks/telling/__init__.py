"""Results, summaries and explanations, in words and marks."""
