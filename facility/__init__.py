"""The ground floor: site, people, events, sheets; and the upper floors that look at every app."""

__version__ = "0.1.0"
