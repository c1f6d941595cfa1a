"""The log of a run: entries, corrections, one writer, many watchers."""
