"""The report of a pack: what an inspector reads, in volumes; each is checked, sealed, and used again while nothing of it changed."""
