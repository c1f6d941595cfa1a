"""What a restored place must be able to do: answer for every chamber, and make a report that can be handed out."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _

from facility.backup.faults import BackupError
from facility.models import Chamber, Site
from facility.papers.printing import PrintingError, pdf_of
from facility.readiness import services
from facility.readiness.telling.availability import availability, call_words

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

STATEMENT: Final = "readiness/telling/statement_paper.html"


@dataclass(frozen=True, slots=True)
class Proof:
    """What was answered and built: how many plans of how many chambers, and each site's report by its SHA-256."""

    chambers: int
    plans: int
    reports: tuple[tuple[str, int, str], ...] = ()

    def words(self) -> str:
        """Say it in one sentence."""
        answered = _("Readiness of %(plans)d plans in %(chambers)d chambers computed.") % {
            "plans": self.plans, "chambers": self.chambers,
        }  # fmt: skip
        built = [
            _("Report of %(site)s built: %(bytes)d bytes, SHA-256 %(sha256)s.")
            % {"site": site, "bytes": size, "sha256": sha256}
            for site, size, sha256 in self.reports
        ]
        return " ".join([answered, *built])


def answered(at: datetime) -> tuple[int, int]:
    """Compute the readiness of every chamber that counts. Return how many chambers and plans.

    Errors: whatever stops it; the caller tells.
    """
    chambers = list(Chamber.objects.filter(retired_at=None, site__retired_at=None).select_related("site"))
    return len(chambers), sum(len(answer.evaluations) for answer in services.answers(chambers, at))


def proved(at: datetime, say: Callable[[str], object]) -> Proof:
    """Answer for every chamber and build the availability statement of every site.

    Errors: BackupError naming the site whose report cannot be built.
    """
    say(_("Computing readiness"))
    chambers, plans = answered(at)
    reports = []
    for site in Site.objects.filter(retired_at=None).order_by("key"):
        say(_("Building the report of %(site)s") % {"site": site.key})
        pdf = _statement(site, at)
        reports.append((site.key, len(pdf), hashlib.sha256(pdf).hexdigest()))
    return Proof(chambers, plans, tuple(reports))


def _statement(site: Site, at: datetime) -> bytes:
    context = {
        "visit": {"site": site}, "told": availability(site, at), "call_words": call_words(),
        "caution": services.caution(), "printed_by": "system:restore",
    }  # fmt: skip
    try:
        return pdf_of(STATEMENT, context)
    except PrintingError as error:
        raise BackupError(
            _("The report of %(site)s cannot be built: %(why)s") % {"site": site.key, "why": error}
        ) from error
