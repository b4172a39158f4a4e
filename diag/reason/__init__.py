"""Reasoning: forward rules, belief over causes, the choice of the next step, explanations."""
