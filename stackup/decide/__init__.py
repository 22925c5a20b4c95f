"""Decisions: what the engines' records say about the requirements of a case.

Nothing in this room knows a screen or reads a file, and none of it contains the name of a kind, a slot or a gap.
"""
