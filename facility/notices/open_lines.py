"""What is open or unfinished at a site, in words that may leave the box: no texts of runs, patients or defects."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.instants import instant_of
from facility.gathered import current
from facility.readiness import page_rows as page
from facility.readiness.fill import open_things, unsigned_checks
from facility.readiness.links import link
from facility.readiness.words import when
from treatments.models import Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from facility.gathered import Rows
    from facility.models import Site
    from facility.readiness.panels import OpenThing
    from facility.readiness.services import Answer


@dataclass(frozen=True, slots=True)
class OpenLine:
    """One open thing. ``of_a_person``: only supervisors and directors are told."""

    thing: str
    title: str
    said: str
    action: str
    url: str
    of_a_person: bool = False


def open_at(site: Site, found: Sequence[Answer]) -> list[OpenLine]:
    """Return what is open at a site: defects first, then checks, waivers, second looks. Two or three queries."""
    rows = page.page_rows(site, [answer.chamber for answer in found])
    return [
        *_lines(open_things(site, _only(page.DEFECT, _nameless(rows[page.DEFECT])), ()), _("Repair it, or record its return to service.")),
        *_lines(open_things(site, defaultdict(list), found), _("See what did not pass, and walk the check again.")),
        *_lines(unsigned_checks(site, rows), _("Go on with it and sign it, or give it up.")),
        *_lines(open_things(site, _only(page.OWED, rows[page.OWED]), ()), _("Do the check after the run.")),
        *_lines(open_things(site, _only(page.CALL, rows[page.CALL]), ()), _("Walk the check in full.")),
        *_waivers(site),
        *_lines(
            open_things(site, _only(page.SECOND_LOOK, rows[page.SECOND_LOOK]), ()),
            _("Hold the dates against the certificate."), of_a_person=True,
        ),
    ]  # fmt: skip


def _only(kind: str, some: list[Any]) -> Rows:
    return defaultdict(list, {kind: some})


def _nameless(defects: list[Any]) -> list[Any]:
    """Return defects with their number in the place of what was typed: it stays in the box."""
    return [[pk, number, _("defect %(n)s") % {"n": f"{number:04d}"}, *more] for pk, number, _what, *more in defects]


def _lines(things: Iterable[OpenThing], action: str, *, of_a_person: bool = False) -> Iterator[OpenLine]:
    for one in things:
        yield OpenLine(f"page:{one.url}", one.title, one.sub, action, one.url, of_a_person)


def _waivers(site: Site) -> Iterator[OpenLine]:
    """Yield what was granted by telephone and waits for a signature."""
    rows = current(Waiver).filter(chamber__site=site, spoken=True, countersigned_at=None)
    for row in rows.select_related("chamber").order_by("countersign_by", "pk"):
        url = link("readiness:waiver", site.key, row.pk)
        said = _("granted by telephone")
        if row.countersign_by is not None:
            said = _("granted by telephone, to be countersigned by %s") % when(
                instant_of(row.countersign_by), site.zone
            )
        title = _("Waiver on %(chamber)s") % {"chamber": row.chamber.name}
        yield OpenLine(f"page:{url}", title, said, _("Countersign it, or end it."), url)
