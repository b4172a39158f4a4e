"""Recorded jobs lived through again with today's knowledge, and what became different."""
