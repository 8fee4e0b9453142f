"""Chess engines: talking to one, its move verdicts, and the scale of its scores."""
