"""Plans worked out from tables."""
