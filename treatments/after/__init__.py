"""After a run: exposures, what is owed, signatures, papers."""
