"""What a pack is about: a site, days, and the whole of it, one area, one chamber or one code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from facility.models import Chamber
from facility.reference import sources
from maintenance.models import EquipmentKind, IntervalRule

if TYPE_CHECKING:
    from datetime import date

    from facility.models import Site

WHOLE: Final = "whole"
K = EquipmentKind
#: area -> its name, and the kinds of equipment in it
AREAS: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "vessels": (gettext_noop("vessels, windows, doors, valves"),
                (K.VESSEL, K.VIEWPORT, K.DOOR_SEAL, K.RELIEF_VALVE, K.VALVE)),
    "gauges": (gettext_noop("gauges, clocks and analysers"),
               (K.DEPTH_GAUGE, K.PRESSURE_GAUGE, K.CLOCK, K.ANALYSER, K.THERMOMETER)),
    "fire": (gettext_noop("fire protection and drills"), (K.FIRE,)),
    "gas": (gettext_noop("gas and air"), (K.COMPRESSOR, K.STORE, K.HOSE, K.REGULATOR, K.MASK)),
    "electrical": (gettext_noop("electrical, communication and alarms"), (K.ELECTRICAL, K.COMMUNICATION, K.ALARM)),
    "people": (gettext_noop("people and who was fit"), ()),
    "runs": (gettext_noop("runs, plans and waivers"), ()),
    "procedures": (gettext_noop("procedures, drills, house rules and findings"), ()),
    "checks": (gettext_noop("checks"), ()),
    "other": (gettext_noop("medical kit and other equipment"), (K.MEDICAL_KIT, K.OTHER)),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Scope:
    """What a pack is about.

    ``areas`` empty: all. ``code``: key of the source whose rules it is about, or nothing.
    """

    site: Site
    chamber: Chamber | None
    from_day: date
    to_day: date
    areas: tuple[str, ...] = ()
    code: str = ""

    @property
    def starts_at(self) -> datetime:
        """The instant at which the first civil day of the site begins."""
        return datetime.combine(self.from_day, time(), tzinfo=ZoneInfo(self.site.zone))

    @property
    def ends_at(self) -> datetime:
        """The instant at which the day after the last one begins."""
        return datetime.combine(self.to_day + timedelta(days=1), time(), tzinfo=ZoneInfo(self.site.zone))

    @property
    def is_whole(self) -> bool:
        """Whether nothing of the site is left out but by its days."""
        return not (self.areas or self.code or self.chamber)

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of equipment in its areas."""
        return tuple(str(kind) for area in self.areas for kind in AREAS[area][1])


def parsed(text: str, site: Site) -> tuple[Chamber | None, tuple[str, ...], str]:
    """Return chamber, areas and code of a scope's text: ``whole``, ``area:KEY``, ``chamber:KEY`` or ``code:KEY``.

    Errors: ValidationError naming what there is.
    """
    sort, _colon, key = text.partition(":")
    if text == WHOLE:
        return None, (), ""
    if sort == "area" and key in AREAS:
        return None, (key,), ""
    if sort == "chamber":
        chamber = Chamber.objects.filter(site=site, key=key, retired_at=None).first()
        if chamber is not None:
            return chamber, (), ""
    if sort == "code" and key in dict(codes_of(site)):
        return None, (), key
    raise ValidationError(
        _("“%(scope)s” is no scope of a pack here. Choose one of: %(known)s."),
        params={"scope": text, "known": ", ".join(key for key, _words in choices(site))},
        code="scope",
    )


def codes_of(site: Site) -> list[tuple[str, str]]:
    """Return the codes that rules of a site name as their source, as (key, title)."""
    texts = IntervalRule.objects.filter(equipment__site=site).exclude(source="").values_list("source", flat=True)
    named = set(texts.distinct())
    known = {key: str(content["title"]) for key, content in sources().items()}
    return sorted((key, title) for key, title in known.items() if any(text.startswith(title) for text in named))


def title_of(code: str) -> str:
    """Return the title with which the source of a rule of this code begins."""
    return str(sources()[code]["title"])


def choices(site: Site) -> list[tuple[str, str]]:
    """Return what a pack of a site can be about, as (text, words)."""
    chambers = Chamber.objects.filter(site=site, retired_at=None).order_by("name")
    return [
        (WHOLE, _("everything")),
        *((f"area:{key}", _(words)) for key, (words, _kinds) in AREAS.items()),
        *((f"chamber:{one.key}", one.name) for one in chambers),
        *((f"code:{key}", title) for key, title in codes_of(site)),
    ]


def words_of(text: str, site: Site) -> str:
    """Return a scope in words; one that is no longer offered as it was stored."""
    return dict(choices(site)).get(text, text)
