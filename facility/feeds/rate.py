"""How often one who asks may ask: an answer costs, and guessing must not be free."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.cache import cache

if TYPE_CHECKING:
    from django.http import HttpRequest

MOST, SPAN_S = 60, 600
"""Answers to one address and span; calendars ask a few times an hour; common practice, no source."""


def too_many(request: HttpRequest) -> bool:
    """Count one question of an address; return whether there were too many."""
    key = f"calendar:{request.META.get('REMOTE_ADDR', '')}"
    if cache.add(key, 1, SPAN_S):
        return False
    try:
        return int(cache.incr(key)) > MOST
    except ValueError:  # it ran out in between
        return False
