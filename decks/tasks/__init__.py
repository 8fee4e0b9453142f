"""A card, and a card as it is asked: what every ask has in common."""
