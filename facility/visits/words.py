"""What an event is about, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.apps import apps

if TYPE_CHECKING:
    from facility.models import Event


def kind_words(label: str) -> str:
    """Return the name of a kind of row, as people say it; the label itself for one that this version does not know."""
    try:
        return str(apps.get_model(label)._meta.verbose_name) if label else ""
    except LookupError:
        return label


def subject_words(event: Event) -> str:
    """Return kind and number of what an event is about."""
    kind = kind_words(event.subject_kind)
    return kind if event.subject_id is None else f"{kind} {event.subject_id}"
