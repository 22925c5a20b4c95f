"""The engines: worst case, RSS, Monte Carlo, and what each dimension contributes."""
