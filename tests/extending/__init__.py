"""Faults that the shipped rules do not know, added as packs, and what the program makes of them then."""
