"""What a card can ask, one module an ask."""
