"""What a student remembers, and what to ask today."""
