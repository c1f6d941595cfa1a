"""Equipment: the items with a tag on them."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Kept, Lock, Site


class EquipmentKind(models.TextChoices):
    """What sort of thing it is."""

    VESSEL = "vessel", _("vessel or lock shell")
    VIEWPORT = "viewport", _("viewport")
    DOOR_SEAL = "door_seal", _("door or seal")
    RELIEF_VALVE = "relief_valve", _("relief valve")
    VALVE = "valve", _("valve or pipework")
    DEPTH_GAUGE = "depth_gauge", _("depth gauge")
    PRESSURE_GAUGE = "pressure_gauge", _("pressure gauge")
    CLOCK = "clock", _("clock")
    ANALYSER = "analyser", _("analyser")
    THERMOMETER = "thermometer", _("thermometer")
    MASK = "mask", _("BIBS mask or dump")
    REGULATOR = "regulator", _("regulator")
    HOSE = "hose", _("hose")
    COMPRESSOR = "compressor", _("compressor")
    STORE = "store", _("gas store")
    FIRE = "fire", _("fire protection")
    ELECTRICAL = "electrical", _("electrical or light")
    COMMUNICATION = "communication", _("communication")
    ALARM = "alarm", _("alarm")
    MEDICAL_KIT = "medical_kit", _("medical kit or drugs")
    OTHER = "other", _("other")


class Equipment(Kept):
    """One item with a tag on it."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="equipment", verbose_name=_("site"))
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="equipment", verbose_name=_("chamber")
    )
    lock = models.ForeignKey(
        Lock, models.PROTECT, null=True, blank=True, related_name="equipment", verbose_name=_("lock")
    )
    tag = models.CharField(_("tag"), max_length=40, help_text=_("As on the plate, for example IL-D1."))
    name = models.CharField(_("name"), max_length=150)
    kind = models.CharField(_("kind"), max_length=16, choices=EquipmentKind.choices)
    place = models.CharField(_("place"), max_length=120, blank=True)
    maker = models.CharField(_("maker"), max_length=120, blank=True)
    serial = models.CharField(_("serial number"), max_length=80, blank=True)
    purpose = models.CharField(_("what it is for"), max_length=300, blank=True)
    in_service_on = models.DateField(_("in service since"), null=True, blank=True)
    life_ends_on = models.DateField(
        _("service life ends"), null=True, blank=True, help_text=_("Last day of its service life, good through it.")
    )
    price_new = models.DecimalField(
        _("price of a new one"), max_digits=12, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(0)], help_text=_("For plan and budget; in the currency beside it."),
    )  # fmt: skip
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, ISO 4217."))
    lead_days = models.PositiveSmallIntegerField(
        _("days from order to arrival"), null=True, blank=True, help_text=_("Of a spare or a new one.")
    )

    SHOWN = (
        "tag", "name", "kind", "chamber", "lock", "place", "maker", "serial", "purpose", "in_service_on", "life_ends_on",
        "price_new", "currency", "lead_days",
    )  # fmt: skip

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "tag"], name="equipment_tag_once_per_site"),
            models.UniqueConstraint(
                fields=["site", "maker", "serial"], condition=~Q(serial="") & Q(retired_at=None),
                name="equipment_serial_once_per_maker",
                violation_error_message=_("Another item of this maker has this serial number."),
            ),
        ]  # fmt: skip
        ordering = ["tag"]

    def clean(self) -> None:
        """Refuse the serial number of another item of this maker, naming that item."""
        if not self.serial or not self.is_current:
            return
        same = Equipment.objects.current().filter(site=self.site, maker=self.maker, serial=self.serial)
        twin = same.exclude(pk=self.pk).first()
        if twin is not None:
            words = _("Serial number “%(serial)s” of this maker is that of %(twin)s already. Read both plates again.")
            params = {"serial": self.serial, "twin": str(twin)}
            raise ValidationError({"serial": ValidationError(words, code="serial", params=params)})

    def __str__(self) -> str:
        return f"{self.tag} {self.name}"
