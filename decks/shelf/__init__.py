"""The decks at hand: what planning needs to know of their cards, and each card when it is asked."""
