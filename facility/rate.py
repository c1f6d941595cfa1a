"""How often one who asks may ask: an answer costs, and guessing must not be free."""

from __future__ import annotations

from django.core.cache import cache


def too_many(key: str, most: int, span_s: int) -> bool:
    """Count one more under a key, and return whether there were more than so many within a span."""
    if cache.add(key, 1, span_s):
        return False
    try:
        return int(cache.incr(key)) > most
    except ValueError:  # it ran out in between
        return False
