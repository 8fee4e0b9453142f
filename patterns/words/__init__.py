"""Plain words for men, squares, verdicts and outcomes."""
