"""Chains: formulas, steps, programs, and the kinds of number that walk them."""
