"""The pattern detector: tags chess positions with motifs and takes stock of them factor by factor.

`patterns` knows nothing of students, storage or screens; `decks` builds on it, never the reverse.
"""
