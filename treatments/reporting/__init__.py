"""Near misses and frozen records."""
