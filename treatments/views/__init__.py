"""Pages of plans, needs and runs already recorded."""
