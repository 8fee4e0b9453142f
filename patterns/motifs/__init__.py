"""The motifs, one file a family.

Each module has a tuple `MOTIFS` of declarations, and one function a motif `(view) -> Findings`, written
for "us" moving up the board. Its docstring states the rule, one hit, one near miss, and what the roles hold.
"""
