"""The full screen: a board with a sheet of paper beside it, by keyboard or mouse (prompt_toolkit)."""
