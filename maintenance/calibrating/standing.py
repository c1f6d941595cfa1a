"""Whether a certificate of a reference counts on a day, and why not."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext, gettext_noop

from maintenance.calibrating.reach import bad_certificates
from maintenance.models import Reference

if TYPE_CHECKING:
    from datetime import date

    from facility.models import Site
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


def against(certificate: ReferenceCertificate | None, day: date, recalled: set[int] | None = None) -> list[Against]:
    """Return everything that speaks against a certificate on a day; nothing if it counts.

    A certificate is good through the whole of its last day. One without a last day has none to pass.
    ``recalled``: what bad_certificates() gave for the site and day, where many are asked about at once.
    """
    if certificate is None:
        return [Against.NONE]
    if recalled is None:
        recalled = bad_certificates(certificate.reference.site, day)
    says = {
        Against.LATER: certificate.calibrated_on > day,
        Against.OUT_OF_DATE: certificate.due_on is not None and certificate.due_on < day,
        Against.WAITS: certificate.needs_second_look and not certificate.second_look_by,
        Against.FAILED: not certificate.passed,
        Against.NO_LONGER: not certificate.is_current,
        Against.RECALLED: certificate.pk in recalled,
    }
    return [one for one, so in says.items() if so]


def returns_due(site: Site, until: date) -> list[Reference]:
    """Return the references on loan that have to be back with their owner by ``until``, the first one first."""
    rows = Reference.objects.current().filter(site=site, return_by__lte=until).exclude(owner="")
    return list(rows.order_by("return_by", "key"))
