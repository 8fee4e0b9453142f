"""The full screen: a board with a pane of text beside it, by keyboard or mouse (prompt_toolkit)."""
