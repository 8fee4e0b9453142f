"""What is told: question, result, explanation, in words and marks."""
