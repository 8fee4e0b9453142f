"""A session: cards asked and answered, as a pure state machine."""
