"""How marks, instants, days, spans and numbers are printed on pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta, tzinfo
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django import template
from django.templatetags.static import static
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.dateformat import format as date_words
from django.utils.html import format_html
from django.utils.translation import gettext as _

from facility.compute.instants import datetime_of, parse_instant
from facility.event_words import acted, who
from facility.models import LightMode

if TYPE_CHECKING:
    from django.template.context import Context
    from django.utils.safestring import SafeString

register = template.Library()
register.filter("acted", acted)
register.filter("who", who)

HOUR_MIN, DAY_H = 60, 24
IN_HOURS_UP_TO_MIN = 2 * DAY_H * HOUR_MIN
HOURS_SHOWN_UP_TO_D = 14
THIN_SPACE = "\u202f"
MINUS = "\u2212"
MARKS = {
    "Ready": "ready",
    "Ready with limits": "limits",
    "Not ready": "stop",
    "Not known": "unknown",
    "holds": "indate",
    "stops": "stop",
    "not known": "unknown",
}
HUES = {"ready": "is-ready", "limits": "is-limits", "stop": "is-stop", "unknown": "is-unknown"}


@register.simple_tag
def marks_url() -> str:
    """Return the address of the sprite that holds every mark."""
    return static("facility/marks.svg")


@register.simple_tag
def mark(name: str, css: str = "") -> SafeString:
    """Draw a mark. ``name`` is its id in the sprite, or a state word; the word itself must stand beside it."""
    drawn = MARKS.get(str(name), str(name))
    classes = " ".join(filter(None, ["mark", css or HUES.get(drawn, "")]))
    return format_html('<svg class="{}" aria-hidden="true"><use href="{}#{}"></use></svg>', classes, marks_url(), drawn)


@register.filter
def hue(state: str) -> str:
    """Return the class that colours a state word."""
    return HUES.get(MARKS.get(str(state), str(state)), "")


@register.simple_tag(takes_context=True)
def light_mode(context: Context) -> str:
    """Return day, dim or night: of this device if it was ever set here, else of the account."""
    request = context.get("request")
    cookie = request.COOKIES.get("light") if request is not None else None
    user = getattr(request, "user", None)
    for wanted in (cookie, context.get("light"), getattr(user, "light", None)):
        if wanted in LightMode.values:
            return str(wanted)
    return str(LightMode.DAY)


@register.simple_tag(takes_context=True)
def site_zone(context: Context) -> str | None:
    """Return the name of the site's time zone, or nothing where no site is open."""
    visit = context.get("visit") or getattr(context.get("request"), "visit", None)
    return getattr(getattr(visit, "site", None), "zone", None)


def local(value: datetime, zone: str | tzinfo | None = None) -> datetime:
    """Return an instant in the zone given, else in the page's zone. A naive time is taken as it stands."""
    if timezone.is_naive(value):
        return value
    if isinstance(zone, str):
        zone = ZoneInfo(zone) if zone else None
    return value.astimezone(zone or timezone.get_current_timezone())


@register.filter
def when(value: datetime | date | None, zone: str | None = None) -> str:
    """Print an instant as 27 Nov 2026 18:00, in the zone of the page or the one given."""
    if isinstance(value, datetime):
        return date_words(local(value, zone), "j M Y H:i")
    return day(value)


@register.filter
def day(value: datetime | date | None, zone: str | None = None) -> str:
    """Print a day as 27 Nov 2026."""
    if not isinstance(value, date):
        return ""
    shown = local(value, zone) if isinstance(value, datetime) else value
    return date_words(shown, "j M Y")


@register.filter
def weekday(value: datetime | date | None, zone: str | None = None) -> str:
    """Print the day of the week as Fri."""
    if not isinstance(value, date):
        return ""
    shown = local(value, zone) if isinstance(value, datetime) else value
    return date_words(shown, "D")


@register.filter
def short(value: datetime | None, now: datetime | None = None) -> str:
    """Print 18:00 if that is today, 27 Nov 18:00 this year, else in full; ``now`` tells what today is."""
    if not isinstance(value, datetime):
        return ""
    shown = local(value)
    if isinstance(now, datetime):
        today = local(now)
        if shown.date() == today.date():
            return date_words(shown, "H:i")
        if shown.year == today.year:
            return date_words(shown, "j M H:i")
    return when(value)


@register.filter
def iso(value: datetime | date | None) -> str:
    """Print an instant for machines."""
    return value.isoformat(timespec="minutes") if isinstance(value, datetime) else str(value or "")


@register.filter
def minutes(value: float | str | None) -> str:
    """Print a span in minutes as 38 min, 8 h 38, or from two days on 5 d 3 h."""
    try:
        total = round(float(value))  # type: ignore[arg-type]  # refused just below
    except (TypeError, ValueError):
        return ""
    sign, total = (MINUS if total < 0 else ""), abs(total)
    if total < HOUR_MIN:
        return sign + _("%(n)d min") % {"n": total}
    if total < IN_HOURS_UP_TO_MIN:
        return sign + _("%(h)d h %(m)02d") % {"h": total // HOUR_MIN, "m": total % HOUR_MIN}
    days, hours = divmod(total // HOUR_MIN, DAY_H)
    if hours == 0 or days >= HOURS_SHOWN_UP_TO_D:
        return sign + _("%(d)d d") % {"d": days}
    return sign + _("%(d)d d %(h)d h") % {"d": days, "h": hours}


@register.filter
def age(value: datetime | float | None, now: datetime | None = None) -> str:
    """Print how old an instant is at ``now``, or a number of minutes; nothing if there is none."""
    if isinstance(value, datetime):
        if not isinstance(now, datetime):
            return ""
        return minutes((now - value).total_seconds() // 60)
    return minutes(value)


@register.filter
def instant(value: str | None, zone: str | None = None) -> str:
    """Print an instant written YYYY-MM-DDTHH:MMZ as 27 Nov 2026 18:00."""
    return when(datetime_of(parse_instant(value)), zone) if value else ""


@register.filter
def end(value: str | None, zone: str | None = None) -> str:
    """Print the instant at which something ends, written YYYY-MM-DDTHH:MMZ; midnight is 24:00 of the day before."""
    if not value:
        return ""
    there = local(datetime_of(parse_instant(value)), zone)
    if (there.hour, there.minute) == (0, 0):
        return f"{day(there - timedelta(minutes=1))} 24:00"
    return date_words(there, "j M Y H:i")


@register.filter
def member_word(state: str) -> str:
    """Return the word for the state of one member of a need."""
    words = {"good": _("good"), "limited": _("limited"), "unknown": _("not known"), "bad": _("not good")}
    return words.get(str(state), str(state))


#: where the record behind a member's state is shown, if not under the generic pages
_OWN_PAGES = {"check": "walk:check", "run": "treatments:run", "defect": "maintenance:defect"}


@register.simple_tag(takes_context=True)
def record_url(context: Context, member: Mapping[str, Any]) -> str:
    """Return the page of the record behind a member's state: its own ``url``, else by ``record`` {kind, pk}."""
    record = member.get("record")
    visit = context.get("visit")
    if member.get("url") or not record or visit is None:
        return str(member.get("url") or "")
    kind, pk = record["kind"], record["pk"]
    own = _OWN_PAGES.get(kind)
    try:
        return (
            reverse(own, args=[visit.site.key, pk])
            if own
            else reverse("records:detail", args=[visit.site.key, kind, pk])
        )
    except NoReverseMatch:
        return ""


@register.filter
def plain_number(value: Any) -> str:
    """Print a number as typed: thousands apart by a thin space, a true minus, no exponent."""
    if value is None or value == "":
        return ""
    try:
        number = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        return str(value)
    if not number.is_finite():
        return str(value)
    whole, _point, part = format(abs(number), "f").partition(".")
    grouped = f"{int(whole):,}".replace(",", THIN_SPACE)
    return (MINUS if number < 0 else "") + grouped + (f".{part}" if part else "")
