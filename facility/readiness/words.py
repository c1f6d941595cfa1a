"""Words for instants, spans and amounts in the sentences of an answer, by the clock of the site."""

from __future__ import annotations

from datetime import date

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from facility.compute.facts import Number
from facility.compute.instants import Instant
from facility.counted import counted
from facility.readiness.times import local

THIN_SPACE = "\u202f"
DAYS_FROM_H = 72


def when(at: Instant, zone: str) -> str:
    """Write an instant: 27 Nov 2026 18:00."""
    return date_words(local(at, zone), "j M Y H:i")


def day(one: date) -> str:
    """Write a civil date: 27 Nov 2026."""
    return date_words(one, "j M Y")


def places_filled(filled: int, slots: int) -> str:
    """Write how many places of a crew are filled.

    >>> places_filled(1, 2), places_filled(0, 1)
    ('1 of 2 places filled', '0 of 1 place filled')
    """
    return _("%(filled)d of %(places)s filled") % {"filled": filled, "places": counted(slots, "place", "places")}


def span(minutes: int) -> str:
    """Write a length of time: 8 h 38, 45 min, and from three days on in whole days.

    >>> span(518), span(45), span(3 * 1440)
    ('8 h 38', '45 min', '3 days')
    """
    hours, rest = divmod(minutes, 60)
    if hours >= DAYS_FROM_H:
        return _("%(days)d days") % {"days": hours // 24}
    return f"{hours} h {rest:02d}" if hours else f"{rest} min"


def litres(amount: Number) -> str:
    """Write an amount of gas in whole litres, cut off, never rounded up."""
    return f"{int(amount):,}".replace(",", THIN_SPACE) + " L"


def listed(words: list[str], most: int = 3) -> str:
    """Join a few sentences' parts and say how many more there are."""
    shown = "; ".join(words[:most])
    more = len(words) - most
    return shown if more <= 0 else _("%(some)s; and %(number)d more") % {"some": shown, "number": more}


def day_of(at: Instant, zone: str) -> str:
    """Write the civil date of an instant."""
    return day(local(at, zone).date())


def day_text(text: str) -> str:
    """Write a stored date for people."""
    return day(date.fromisoformat(text))
