"""Who a patient is. The only place that names one; every other record has a pseudonym of its run."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from facility.models import Kept, Site


class Patient(Kept):
    """A patient's identity. Its service writes events that hold a salted digest, never a value of this row."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="patients", verbose_name=_("site"))
    name = models.CharField(_("name"), max_length=200)
    born_on = models.DateField(_("born on"), null=True, blank=True)
    reach_at = models.CharField(_("how to reach the patient or family"), max_length=300, blank=True)
    number = models.CharField(_("number at the hospital or insurer"), max_length=80, blank=True)
    note = models.TextField(_("note"), blank=True)
    salt = models.BinaryField(max_length=16, editable=False)
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)

    def __str__(self) -> str:
        return f"{_('patient')} {self.pk}"
