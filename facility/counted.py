"""A count put into a sentence: one site, two sites."""

from __future__ import annotations

from django.utils.translation import ngettext


def counted(number: int, one: str, many: str) -> str:
    """Return a number with the word for so many.

    >>> counted(1, "site", "sites"), counted(0, "site", "sites")
    ('1 site', '0 sites')
    """
    return f"{number} {ngettext(one, many, number)}"
