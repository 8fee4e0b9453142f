"""Making cards from games."""
