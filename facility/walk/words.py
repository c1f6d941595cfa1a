"""Sentences of the computations in the reader's language."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext

if TYPE_CHECKING:
    from facility.compute.sheets import SheetError


def refusal(error: SheetError | ValidationError) -> str:
    """Return why something was not taken, as one text."""
    if isinstance(error, ValidationError):
        return " ".join(str(message) for message in error.messages)
    return gettext(error.sentence) % error.values
