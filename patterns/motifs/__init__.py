"""The motifs, one file per family.

Each module has a tuple `MOTIFS` of declarations, and one function `(view) -> Findings` per motif, written
for "us" moving up the board. Its docstring states the rule, one hit, one near miss, and what the roles hold.
"""
