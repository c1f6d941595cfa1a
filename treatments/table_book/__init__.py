"""Treatment tables of a site: confirmed by two people, its own in versions."""
