"""What the cross-checks find in the records of the plant: both values, the limit, where to look."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.fields import day_text
from facility.shown import instant_text
from maintenance.compute.cross_checks import goes_back, older_than_instrument, same_values
from maintenance.gas_room.limits import bounds
from maintenance.models import (
    BankReading,
    CylinderAnalysis,
    DeliveredCylinder,
    ReferenceCertificate,
    WorkRecord,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime
    from decimal import Decimal
    from zoneinfo import ZoneInfo

    from facility.models import Site

LOOKED_DAYS = 60
CLOCK_TOLERANCE_S = 300
MOST = 100


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not agree: which comparison, about what, both values, the limit, and its pages."""

    check: str
    about: str
    first: str
    second: str
    limit: str = ""
    url: str = ""
    defect: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """Where and when is looked: the site, its zone, now, and its house rules."""

    site: Site
    zone: ZoneInfo
    now: datetime
    house: Mapping[str, Decimal] = field(default_factory=dict)

    @property
    def since(self) -> datetime:
        """How far back readings are looked at."""
        return self.now - timedelta(days=LOOKED_DAYS)

    def page(self, name: str, *parts: Any) -> str:
        """Return the address of a page of the site."""
        return reverse(name, args=[self.site.key, *parts])

    def defect(self, what: str, **about: int | None) -> str:
        """Return the address that raises a defect on a thing, with what was found."""
        query = urlencode({name: pk for name, pk in about.items() if pk} | {"what": what[:300], "effect": "watch"})
        return f"{self.page('maintenance:raise_defect')}?{query}"


def of_plant(look: Look) -> Iterator[Finding]:
    """Yield what the records of the plant alone tell; a constant number of queries."""
    yield from wrong_gas(look)
    yield from hook_ups(look)
    yield from still_gauges(look)
    yield from old_certificates(look)
    yield from backwards(look)


def wrong_gas(look: Look) -> Iterator[Finding]:
    """Passed analyses whose oxygen content is not that of the bank's gas."""
    known = bounds()
    oxygen = Q(cylinder__bank__gas="O2", oxygen_percent__lt=known.oxygen_low)
    air = Q(cylinder__bank__gas="AIR") & (Q(oxygen_percent__lt=known.air_low) | Q(oxygen_percent__gt=known.air_high))
    rows = CylinderAnalysis.objects.filter(
        oxygen | air, cylinder__bank__site=look.site, cylinder__retired_at=None, retired_at=None, result="passed"
    ).select_related("cylinder__bank")
    for row in rows[:MOST]:
        its = row.cylinder.bank
        second = _("analysis of %(day)s: %(percent)s %% oxygen") % {
            "day": instant_text(row.analysed_at, look.zone), "percent": row.oxygen_percent}  # fmt: skip
        yield Finding(
            _("Could the gas be wrong?"), f"{row.cylinder} · {its}", _("bank of %s") % its.gas, second,
            url=look.page("records:detail", "analysis", row.pk),
            defect=look.defect(_("Could the gas be wrong? %s") % second, bank=its.pk),
        )  # fmt: skip


def hook_ups(look: Look) -> Iterator[Finding]:
    """Differences between gauge and sum after hook-up that nobody explained."""
    rows = DeliveredCylinder.objects.filter(
        delivery__site=look.site, judged__hook_up__over=True, judged__hook_up__explanation="", retired_at=None
    ).select_related("cylinder__bank")
    for row in rows[:MOST]:
        said = row.judged["hook_up"]
        bank = row.cylinder.bank if row.cylinder else None
        yield Finding(
            _("Sum of the cylinders and gauge after hook-up"), f"{row.mark} · {bank}",
            _("sum %(expected)s %(unit)s") % said, _("gauge %(found)s %(unit)s") % said,
            _("%(limit)s %(unit)s, %(percent)s %%") % said, look.page("maintenance:hook_up", row.pk),
            look.defect(_("Gauge and sum of the cylinders differ after hook-up"), bank=bank.pk if bank else None),
        )  # fmt: skip


def still_gauges(look: Look) -> Iterator[Finding]:
    """Gauges of banks that showed the same value day after day."""
    rows = BankReading.objects.filter(
        bank__site=look.site, bank__retired_at=None, cylinder=None, retired_at=None, read_at__gte=look.since,
        read_at__lte=look.now,
    ).order_by("read_at", "id").values_list("bank", "bank__name", "unit", "pressure", "read_at")  # fmt: skip
    of_gauge: dict[tuple[int, str, str], list[Any]] = defaultdict(list)
    for pk, name, unit, pressure, read_at in rows:
        of_gauge[pk, name, unit].append((read_at.astimezone(look.zone), pressure))
    least = max(2, int(look.house["same_value_days"]))
    for (pk, name, unit), readings in of_gauge.items():
        for one in same_values(readings, least):
            first = _("%(value)s %(unit)s on %(begin)s") % {
                "value": one.value, "unit": unit, "begin": day_text(one.first_at)}  # fmt: skip
            second = _("the same %(count)d times until %(end)s") % {
                "count": one.readings, "end": day_text(one.last_at)}  # fmt: skip
            yield Finding(
                _("Same value day after day"), name, first, second, _("%d days") % least,
                look.page("maintenance:bank", pk),
                look.defect(_("Gauge does not move: %(first)s, %(second)s") % {"first": first, "second": second}, bank=pk),
            )  # fmt: skip


def old_certificates(look: Look) -> Iterator[Finding]:
    """Records and certificates dated long before the instrument was there."""
    grace = int(look.house["certificate_grace_days"])
    work = WorkRecord.objects.filter(
        equipment__site=look.site, equipment__retired_at=None, retired_at=None,
        done_on__lt=F("equipment__in_service_on"),
    ).select_related("equipment", "rule")  # fmt: skip
    for row in work[:MOST]:
        page = look.page("records:detail", "work", row.pk)
        yield from _older(look, row.equipment, row.done_on, (str(row.rule or row.equipment), page), grace)
    certificates = ReferenceCertificate.objects.filter(
        reference__site=look.site, retired_at=None, calibrated_on__lt=F("reference__equipment__in_service_on")
    ).select_related("reference__equipment")
    for one in certificates[:MOST]:
        its = one.reference.equipment
        if its is not None:
            page = look.page("records:detail", "equipment", its.pk)
            yield from _older(look, its, one.calibrated_on, (str(one), page), grace)


def _older(look: Look, its: Any, dated: Any, named: tuple[str, str], grace: int) -> Iterator[Finding]:
    days = older_than_instrument(dated, its.in_service_on, grace)
    if days is None:
        return
    about, page = named
    first = _("dated %s") % day_text(dated)
    second = _("in service since %(day)s, %(days)s later") % {
        "day": day_text(its.in_service_on),
        "days": counted(days, "day", "days"),
    }
    yield Finding(
        _("Certificate older than the instrument"), about, first, second, _("%d days") % grace, page,
        look.defect(_("Certificate older than the instrument: %(first)s, %(second)s") % {
            "first": first, "second": second}, equipment=its.pk),
    )  # fmt: skip


def backwards(look: Look) -> Iterator[Finding]:
    """Times that go backwards: read after it was recorded, analysed before it came in."""
    readings = BankReading.objects.filter(
        bank__site=look.site, retired_at=None, read_at__gt=F("recorded_at"), recorded_at__gte=look.since
    ).select_related("bank")
    for row in readings[:MOST]:
        pair = ((_("recorded"), row.recorded_at), (_("read"), row.read_at))
        yield from _back(look, str(row), pair, look.page("records:detail", "reading", row.pk))
    delivered = DeliveredCylinder.objects.filter(
        delivery__site=look.site, analysed_at__lt=F("delivery__received_at"), retired_at=None
    ).select_related("delivery")
    for one in delivered[:MOST]:
        if one.analysed_at is not None:
            pair = ((_("analysed"), one.analysed_at), (_("received"), one.delivery.received_at))
            yield from _back(look, str(one), pair, look.page("maintenance:delivered", one.pk))


def _back(look: Look, about: str, pair: Any, page: str) -> Iterator[Finding]:
    (first, before), (second, after) = pair
    if goes_back(after, before, CLOCK_TOLERANCE_S) is None:
        return
    yield Finding(
        _("Time goes backwards"), about, f"{first} {instant_text(before, look.zone)}",
        f"{second} {instant_text(after, look.zone)}", _("%d min") % (CLOCK_TOLERANCE_S // 60), page,
    )  # fmt: skip
