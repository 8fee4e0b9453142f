"""Looking a few moves ahead in whole batches: what remains of a threat after the other side's answer."""
