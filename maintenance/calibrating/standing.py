"""Whether a certificate of a reference counts on a day, and why not."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext, gettext_noop

from maintenance.calibrating.reach import bad_certificates

if TYPE_CHECKING:
    from datetime import date

    from maintenance.models import ReferenceCertificate


class Against(StrEnum):
    """Why a certificate does not prove a reference on a day. What is kept is the word, as on that day."""

    NONE = gettext_noop("it has no certificate")
    LATER = gettext_noop("its certificate is of a later day")
    OUT_OF_DATE = gettext_noop("its certificate was out of date")
    WAITS = gettext_noop("the dates of its certificate were not yet confirmed by a second person")
    FAILED = gettext_noop("its certificate says that it was outside its limits")
    NO_LONGER = gettext_noop("its certificate no longer counts")
    RECALLED = gettext_noop("it, or what it rests on, is recalled")

    @property
    def words(self) -> str:
        """Say it in the reader's language."""
        return gettext(self.value)


def against(certificate: ReferenceCertificate | None, day: date) -> list[Against]:
    """Return everything that speaks against a certificate on a day; nothing if it counts.

    A certificate is good through the whole of its last day. One without a last day has none to pass.
    """
    if certificate is None:
        return [Against.NONE]
    found = []
    if certificate.calibrated_on > day:
        found.append(Against.LATER)
    if certificate.due_on is not None and certificate.due_on < day:
        found.append(Against.OUT_OF_DATE)
    if certificate.needs_second_look and not certificate.second_look_by:
        found.append(Against.WAITS)
    if not certificate.passed:
        found.append(Against.FAILED)
    if not certificate.is_current:
        found.append(Against.NO_LONGER)
    if certificate.pk in bad_certificates(certificate.reference.site, day):
        found.append(Against.RECALLED)
    return found
