"""A few moves ahead, for whole batches: what is left of a threat once the other side has answered it."""
