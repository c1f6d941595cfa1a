"""Many sites on one page."""
