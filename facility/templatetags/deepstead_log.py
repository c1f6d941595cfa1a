"""How the log of a run prints spans, times of day with seconds, and names in the margin."""

from __future__ import annotations

from datetime import datetime, timedelta

from django import template

from facility.templatetags.deepstead import MINUS, local

register = template.Library()

HOUR_S, MINUTE_S = 3600, 60
NOTHING = "\u2013"


@register.filter
def elapsed(span: timedelta | None) -> str:
    """Print a span from leaving surface as 1:11:24; what lies before it has a minus.

    >>> elapsed(timedelta(hours=1, minutes=11, seconds=24)), elapsed(None)
    ('1:11:24', '\u2013')
    """
    if span is None:
        return NOTHING
    total = round(span.total_seconds())
    sign, total = (MINUS if total < 0 else ""), abs(total)
    return f"{sign}{total // HOUR_S}:{total % HOUR_S // MINUTE_S:02d}:{total % MINUTE_S:02d}"


@register.filter
def clock_second(at: datetime | None) -> str:
    """Print an instant as the page's clock shows it, with seconds: 15:08:36."""
    return "" if at is None else f"{local(at):%H:%M:%S}"


@register.filter
def initials(name: str) -> str:
    """Print a name in the margin: the first letter of each of its first three words.

    >>> initials("Ina Tamaro")
    'IT'
    """
    return "".join(word[0].upper() for word in str(name).replace(":", " ").split()[:3])
