"""Chess engines: the conversation with one, its verdicts on moves, and the scale of its scores."""
