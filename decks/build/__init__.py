"""Making cards from games: finding candidates, and checking them with an engine."""
