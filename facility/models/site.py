"""Organisation, site, chamber, lock."""

from __future__ import annotations

import zoneinfo
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Kept

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


def validate_zone(name: str) -> None:
    """Refuse a time zone that the zone database does not know."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(
            _("“%(zone)s” is not a time zone. Use a name such as Europe/Oslo."),
            code="zone",
            params={"zone": name},
        )


#: first parts of addresses that belong to no site; a site of that key could not be reached
TAKEN_ADDRESSES = frozenset(
    {
        "accept", "account", "first-site", "first-user", "import", "sign-in", "sign-out", "static", "worksheets",
        "box", "calendar", "favicon", "healthz", "look", "metrics", "organisation", "readyz", "verify", "media", "api", "new",
    }
)  # fmt: skip


class Organisation(Kept):
    """Who runs one or more sites."""

    key = models.SlugField(_("key"), max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=200)

    SHOWN = ("key", "name")

    def __str__(self) -> str:
        return self.name


class Site(Kept):
    """One facility: a place with its own people, papers, clock and local codes."""

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="sites", verbose_name=_("organisation"))
    key = models.SlugField(_("key"), max_length=60, unique=True, help_text=_("Short, lower case, for example skerrow."))
    name = models.CharField(_("name"), max_length=200)
    zone = models.CharField(
        _("time zone"), max_length=60, validators=[validate_zone], help_text=_("For example Europe/Oslo.")
    )
    jurisdiction = models.CharField(
        _("jurisdiction"), max_length=200, blank=True, help_text=_("Whose codes apply here.")
    )
    evacuation_plan = models.TextField(
        _("evacuation plan"), blank=True, help_text=_("What this site does when it cannot treat.")
    )

    SHOWN = ("key", "name", "organisation", "zone", "jurisdiction", "evacuation_plan")

    def clean(self) -> None:
        """Refuse a key under which the app's own pages lie, and another key than the one in the log and on paper."""
        if self.key.lower() in TAKEN_ADDRESSES:
            self._refuse_key(
                _("“%(key)s” is the address of the app's own pages. Take another key, for example %(key)s-site.")
            )
        stored = Site.objects.filter(pk=self.pk).values_list("key", flat=True).first()
        if stored not in (None, self.key):
            self._refuse_key(
                _(
                    "The key stays “%(stored)s”: addresses, printed papers and the log carry it. Change the name instead."
                ),
                stored=stored,
            )

    def _refuse_key(self, words: _StrPromise, **more: str | None) -> None:
        raise ValidationError({"key": ValidationError(words, code="key", params={"key": self.key, **more})})

    def __str__(self) -> str:
        return self.name


class Chamber(Kept):
    """A pressure chamber for people, made of locks."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="chambers", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60, help_text=_("Unique at the site, for example chamber-1."))
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=200, blank=True, help_text=_("For example two-lock, air-filled."))

    SHOWN = ("key", "name", "kind")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="chamber_key_once_per_site")]
        ordering = ["site_id", "key"]

    def __str__(self) -> str:
        return self.name


class VolumeUnit(models.TextChoices):
    """Units a volume may be typed in."""

    CUBIC_METRE = "m3", _("m³")
    LITRE = "L", _("L")
    CUBIC_FOOT = "ft3", _("ft³")


class PressureUnit(models.TextChoices):
    """Units printed on gauges. All are gauge pressure unless the name says otherwise."""

    FSW = "fsw", _("fsw")
    MSW = "msw", _("msw")
    BAR = "bar", _("bar gauge")
    KPA = "kPa", _("kPa gauge")
    MPA = "MPa", _("MPa gauge")
    PSI = "psi", _("psi gauge")


class LockKind(models.TextChoices):
    """What a compartment is for."""

    INNER = "inner", _("inner lock")
    OUTER = "outer", _("outer lock")
    MEDICAL = "medical", _("medical lock")


class Lock(Kept):
    """One compartment of a chamber, in the units of its own gauges."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="locks", verbose_name=_("chamber"))
    key = models.SlugField(_("key"), max_length=60)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=10, choices=LockKind.choices)
    volume = models.DecimalField(
        _("volume"), max_digits=9, decimal_places=3, validators=[MinValueValidator(0)], help_text=_("As on the papers.")
    )
    volume_unit = models.CharField(_("unit of volume"), max_length=4, choices=VolumeUnit.choices)
    occupants = models.PositiveSmallIntegerField(_("occupants at most"))
    working_pressure = models.DecimalField(
        _("working pressure, gauge"), max_digits=9, decimal_places=3, validators=[MinValueValidator(0)]
    )
    working_pressure_unit = models.CharField(_("unit of working pressure"), max_length=4, choices=PressureUnit.choices)
    gauge_unit = models.CharField(
        _("unit on its depth gauges"), max_length=4, choices=PressureUnit.choices, default=PressureUnit.FSW
    )

    SHOWN = (
        "chamber", "key", "name", "kind", "volume", "volume_unit", "occupants",
        "working_pressure", "working_pressure_unit", "gauge_unit",
    )  # fmt: skip

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chamber", "key"], name="lock_key_once_per_chamber"),
            models.CheckConstraint(
                condition=Q(volume__gt=0), name="lock_has_volume",
                violation_error_message=_("A lock's volume must be more than 0."),
            ),
        ]  # fmt: skip
        ordering = ["chamber_id", "key"]

    def __str__(self) -> str:
        return f"{self.chamber.name}, {self.name}"
