"""What the title block of every page shows."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest


def title_block(request: HttpRequest) -> dict[str, object]:
    """Return the values that base.html prints on each page."""
    return {"demo": settings.DEMO}
