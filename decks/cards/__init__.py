"""Cards and decks: what a deck folder holds, reading it, writing it, and checking it."""
