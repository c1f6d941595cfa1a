"""What a restored place must be able to do: answer for every chamber, and make a report that can be handed out."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from facility.backup.faults import BackupError
from facility.counted import counted
from facility.models import Chamber, Site
from facility.papers.printing import PrintingError
from facility.readiness import services

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

MONTH: Final = timedelta(days=31)
#: a trial ends within the hour that a job may take, however many sites there are
MOST_REPORTS: Final = 5


@dataclass(frozen=True, slots=True)
class Proof:
    """What was answered and built: how many plans of how many chambers, and each site's report by its SHA-256."""

    chambers: int
    plans: int
    reports: tuple[tuple[str, int, str], ...] = ()

    def words(self) -> str:
        """Say it in one sentence."""
        answered = _("Readiness of %(plans)s in %(chambers)s computed.") % {
            "plans": counted(self.plans, "plan", "plans"), "chambers": counted(self.chambers, "chamber", "chambers"),
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
    """Answer for every chamber and build the sealed report of the last month, of a few sites where there are many.

    Errors: BackupError naming the site whose report cannot be built.
    """
    say(_("Computing readiness"))
    chambers, plans = answered(at)
    reports = []
    for site in Site.objects.filter(retired_at=None).order_by("key")[:MOST_REPORTS]:
        say(_("Building the report of %(site)s") % {"site": site.key})
        reports.append((site.key, *_report(site, at)))
    return Proof(chambers, plans, tuple(reports))


def _report(site: Site, at: datetime) -> tuple[int, str]:
    """Build and seal the report of the last month. Return its bytes and one digest over those of its volumes."""
    from facility.report.build import Scope, volumes  # noqa: PLC0415  # megabytes, needed only in a trial

    today = at.astimezone(ZoneInfo(site.zone)).date()
    try:
        built = volumes(Scope(site, None, today - MONTH, today), tell=lambda _sentence: None)
        size = sum(one.path.stat().st_size for one in built)
    except (PrintingError, ValueError, OSError) as error:
        raise BackupError(
            _("The report of %(site)s cannot be built: %(why)s") % {"site": site.key, "why": error}
        ) from error
    return size, hashlib.sha256("".join(one.sha256 for one in built).encode()).hexdigest()
