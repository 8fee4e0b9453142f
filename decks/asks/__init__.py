"""What a card can ask. Each ask has one module."""
