"""Profiles recorded by an instrument: taken in, cut, compared."""
