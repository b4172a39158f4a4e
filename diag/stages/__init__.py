"""Proving a whole vehicle in stages: what belongs to each, in which order, what is computed for it."""
