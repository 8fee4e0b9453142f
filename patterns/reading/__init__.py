"""Reading what people wrote: games, positions, and text made safe to show."""
