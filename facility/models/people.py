"""People, what they are qualified for, their medical fitness, duty and the contacts of a site."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.evidence import Evidence
from facility.models.site import Organisation, Site


class LightMode(models.TextChoices):
    """How the pages are lit."""

    DAY = "day", _("Day")
    DIM = "dim", _("Dim")
    NIGHT = "night", _("Red")


class User(AbstractUser):
    """An account. Never deleted: deactivated."""

    light = models.CharField(_("light"), max_length=5, choices=LightMode.choices, default=LightMode.DAY)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class SiteRole(models.TextChoices):
    """What an account may do at a site; the table of acts is in facility.accounts.access."""

    SUPERVISOR = "supervisor", _("supervisor")
    OPERATOR = "operator", _("operator")
    TENDER = "tender", _("tender")
    PHYSICIAN = "physician", _("physician")
    DIRECTOR = "director", _("director")
    MAINTAINER = "maintainer", _("maintainer")
    INSPECTOR = "inspector", _("inspector")


class Membership(Kept):
    """One role of one account at one site."""

    user = models.ForeignKey(User, models.PROTECT, related_name="memberships", verbose_name=_("account"))
    site = models.ForeignKey(Site, models.PROTECT, related_name="memberships", verbose_name=_("site"))
    role = models.CharField(_("role"), max_length=12, choices=SiteRole.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "site", "role"], condition=Q(retired_at=None), name="one_current_membership"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()}, {self.site}"


class Person(Kept):
    """Someone of the crew or about the site, with or without an account."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="people", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60, help_text=_("Unique at the site, for example k-lindqvist."))
    name = models.CharField(_("name"), max_length=150)
    user = models.OneToOneField(
        User, models.PROTECT, null=True, blank=True, related_name="person", verbose_name=_("account")
    )
    phone = models.CharField(_("telephone"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    SHOWN = ("key", "name", "phone", "note")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="person_key_once_per_site")]
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class QualificationKind(Kept):
    """A qualification that a role may demand."""

    organisation = models.ForeignKey(
        Organisation, models.PROTECT, related_name="qualification_kinds", verbose_name=_("organisation")
    )
    key = models.SlugField(_("key"), max_length=60, help_text=_("For example panel-operator."))
    name = models.CharField(_("name"), max_length=120)
    note = models.CharField(_("note"), max_length=300, blank=True)
    recency_days = models.PositiveSmallIntegerField(
        _("lapses without practice after, days"), null=True, blank=True,
        help_text=_("A run or a drill in that role counts as practice. Empty: it does not lapse that way."),
    )  # fmt: skip

    SHOWN = ("key", "name", "note", "recency_days")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "key"], name="qualification_key_once")]
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class QualificationHeld(Entry):
    """A qualification that a person holds, from its certificate."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="qualifications", verbose_name=_("person"))
    kind = models.ForeignKey(QualificationKind, models.PROTECT, related_name="held", verbose_name=_("qualification"))
    issued_on = models.DateField(_("issued on"))
    expires_on = models.DateField(
        _("expires on"), null=True, blank=True, help_text=_("Good through this day. Empty: no end is printed on it.")
    )
    number = models.CharField(_("number"), max_length=80, blank=True)
    issuer = models.CharField(_("issuer"), max_length=150, blank=True)
    scan = models.ForeignKey(Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("scan"))
    second_look_by = models.CharField(
        _("dates read a second time by"), max_length=150, blank=True,
        help_text=_("Empty: waiting for a second look, and it does not count yet."),
    )  # fmt: skip

    SHOWN = ("person", "kind", "issued_on", "expires_on", "number", "issuer", "second_look_by")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_on=None) | Q(expires_on__gte=F("issued_on")),
                name="qualification_expires_after_issue",
                violation_error_message=_("The day it expires must not come before the day it was issued."),
            )
        ]
        indexes = [models.Index(fields=["person", "kind"], condition=Q(retired_at=None), name="qualification_current")]

    def __str__(self) -> str:
        return f"{self.person}: {self.kind}"


class MedicalOutcome(models.TextChoices):
    """What the physician wrote."""

    FIT = "fit", _("fit for pressure")
    LIMITED = "limited", _("fit with limits")
    UNFIT = "unfit", _("not fit")


class MedicalFitness(Entry):
    """The outcome of one medical examination; never the findings."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="medicals", verbose_name=_("person"))
    examined_on = models.DateField(_("examined on"))
    good_until = models.DateField(_("good through"), help_text=_("Last day on which it counts."))
    outcome = models.CharField(_("outcome"), max_length=8, choices=MedicalOutcome.choices)
    physician = models.CharField(_("physician"), max_length=150, blank=True)

    SHOWN = ("person", "examined_on", "good_until", "outcome", "physician")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(good_until__gte=F("examined_on")),
                name="medical_ends_after_examination",
                violation_error_message=_("The last good day must not come before the examination."),
            )
        ]
        indexes = [models.Index(fields=["person", "examined_on"], name="medical_of_person")]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_outcome_display()}"


class DutyPeriod(Entry):
    """A span in which a person is on duty or on call at the site."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="duty", verbose_name=_("person"))
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"), help_text=_("The person is off duty from this instant."))
    on_call = models.BooleanField(_("on call, not on site"), default=False)

    SHOWN = ("person", "starts_at", "ends_at", "on_call")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_at__gt=F("starts_at")),
                name="duty_ends_after_start",
                violation_error_message=_("The end of duty must come after its start."),
            )
        ]
        indexes = [models.Index(fields=["ends_at"], condition=Q(retired_at=None), name="duty_current")]
        ordering = ["starts_at"]

    def __str__(self) -> str:
        return f"{self.person}: {self.starts_at:%d %b %H:%M}"


class ContactKind(models.TextChoices):
    """Why one would call."""

    PHYSICIAN = "physician", _("physician")
    EVACUATION = "evacuation", _("evacuation")
    NEXT_CHAMBER = "next_chamber", _("next chamber")
    EMERGENCY = "emergency", _("emergency services")
    SUPPLIER = "supplier", _("supplier")
    TECHNICAL = "technical", _("technical help")


class Contact(Kept):
    """Someone to call, and when the number was last known to be right."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="contacts", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60)
    kind = models.CharField(_("for"), max_length=12, choices=ContactKind.choices)
    name = models.CharField(_("name"), max_length=150)
    phone = models.CharField(_("telephone"), max_length=80)
    other = models.CharField(_("other ways"), max_length=200, blank=True)
    confirmed_on = models.DateField(
        _("last confirmed"), null=True, blank=True, help_text=_("The day somebody rang it and it was right.")
    )

    SHOWN = ("key", "kind", "name", "phone", "other", "confirmed_on")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="contact_key_once_per_site")]
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name
