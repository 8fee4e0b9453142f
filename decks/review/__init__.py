"""A session: cards asked and answered, as pure state."""
