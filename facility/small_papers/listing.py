"""Every paper that there is: for whom it is, and where it is printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _

from facility.access import Act
from facility.models import SheetVersion

if TYPE_CHECKING:
    from facility.access import Visit
    from facility.models import Site


@dataclass(frozen=True, slots=True)
class Listed:
    """One paper. ``chosen``: it is printed from the page of the thing that it is about."""

    title: str
    reader: str
    address: str
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Papers for one purpose."""

    title: str
    papers: tuple[Listed, ...]


def every(visit: Visit) -> list[Group]:
    """Return the papers that a visitor may print. One query."""
    site = visit.site
    pack = Listed(_("Pack"), _("an inspector, who can verify it without an account"), _to("pack:packs", site))
    return [
        Group(_("For the wall and the day's work"), (*_daily(site), *_blanks(site))),
        Group(_("On one thing, one person, one year"), _of_one(site)),
        Group(_("For those outside"), (*_outside(site), *((pack,) if visit.may(Act.PACK) else ()))),
    ]


def _to(name: str, site: Site, *more: object) -> str:
    return reverse(name, args=[site.key, *more])


def _daily(site: Site) -> tuple[Listed, ...]:
    return (
        Listed(_("Wall sheet"), _("everybody in the room: states as known at its time, and whom to call"),
               _to("small_papers:wall", site)),
        Listed(_("Due list"), _("whoever does the work, to tick and to sign by hand"), _to("small_papers:due", site)),
        Listed(_("Filled check"), _("whoever keeps paper, or asks for one day; printed from the page of the check"),
               _to("walk:every", site), chosen=True),
        Listed(_("Defect tag"), _("whoever stands before the thing; printed from the page of the defect"),
               _to("maintenance:defects", site), chosen=True),
        Listed(_("Labels with the next date"), _("the thing itself"), _to("maintenance:labels", site)),
    )  # fmt: skip


def _blanks(site: Site) -> tuple[Listed, ...]:
    """Return the newest version of each sheet, blank."""
    rows = SheetVersion.objects.filter(sheet__chamber__site=site, sheet__retired_at=None, retired_at=None)
    newest: dict[int, tuple[str, str, int]] = {}
    order = rows.order_by("sheet__chamber__key", "sheet__key", "-version")
    for pk, title, chamber, number in order.values_list("sheet", "sheet__title", "sheet__chamber__name", "version"):
        newest.setdefault(pk, (title, chamber, number))
    return tuple(
        Listed(_("Blank check sheet: %(title)s") % {"title": title},
               _("whoever walks the check in %(chamber)s while no device works; keyed in afterwards") % {"chamber": chamber},
               _to("walk:blank", site, pk, number))
        for pk, (title, chamber, number) in newest.items()
    )  # fmt: skip


def _of_one(site: Site) -> tuple[Listed, ...]:
    return (
        Listed(_("History of an item"), _("whoever judges or sells it; printed from the page of the item"),
               _to("places:plant", site), chosen=True),
        Listed(_("Personal log"), _("one of the crew, to take along; printed from the exposures on the page of the person"),
               _to("places:people", site), chosen=True),
        Listed(_("Personal record"), _("one of the crew, and those who keep the people; printed from one's own page"),
               _to("readiness:me", site), chosen=True),
        Listed(_("Year-end figures"), _("whoever answers for the year; as known on a day"), _to("small_papers:year_end", site)),
    )  # fmt: skip


def _outside(site: Site) -> tuple[Listed, ...]:
    return (
        Listed(_("Availability statement"), _("emergency services and units nearby"), _to("readiness:statement", site)),
        Listed(_("Availability statement, on Letter"), _("the same, where that is the paper"),
               f"{_to('readiness:statement', site)}?size=Letter"),
        Listed(_("Treatment record"), _("the physician who goes on with the case; printed from the page of the run"),
               _to("treatments:runs", site), chosen=True),
        Listed(_("Calibration certificate of a comparison in the house"),
               _("whoever reads the instrument; printed from the page of the comparison, under the drift of the instrument"),
               _to("maintenance:references", site), chosen=True),
    )  # fmt: skip
