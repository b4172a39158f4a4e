"""Looks over what is known, or added to it, before anything is diagnosed with it: mistakes, slips, contradictions."""
