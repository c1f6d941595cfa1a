"""Telling people: where each wants to be told, what was told, whether it arrived, whether somebody acted."""

from __future__ import annotations

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.people import User
from facility.models.site import Site


class Way(models.TextChoices):
    """How a notice leaves the box."""

    EMAIL = "email", _("e-mail")
    WEBHOOK = "webhook", _("webhook")
    PUSH = "push", _("push")


class NoticeKind(models.TextChoices):
    """Why a notice is sent."""

    DIGEST = "digest", _("the day's digest")
    READINESS = "readiness", _("a table's readiness changed")
    AHEAD = "ahead", _("a table will not be ready within the lead time")
    CALL_OUT = "call-out", _("call-out")
    UNANSWERED = "unanswered", _("nobody has acknowledged")
    BOX = "box", _("the box itself needs somebody")
    TEST = "test", _("a test")


class NoticeHour(Kept):
    """At which hour one account wants its digest, by the clock of its first site; no row: the default."""

    user = models.OneToOneField(User, models.PROTECT, related_name="notice_hour", verbose_name=_("account"))
    hour = models.PositiveSmallIntegerField(_("hour of the digest"), default=7, validators=[MaxValueValidator(23)])

    def __str__(self) -> str:
        return f"{self.user}: {self.hour}"


class NoticeWay(Kept):
    """One address at which an account, or the site itself where no account is named, is told."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="notice_ways", verbose_name=_("site"))
    user = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="notice_ways", verbose_name=_("account"),
        help_text=_("Empty: the site's own."),
    )  # fmt: skip
    way = models.CharField(_("way"), max_length=8, choices=Way.choices)
    address = models.CharField(_("address"), max_length=500)
    secret = models.CharField(_("secret"), max_length=200, blank=True, help_text=_("Signs what a webhook receives."))

    class Meta:
        ordering = ["site_id", "id"]

    def __str__(self) -> str:
        return f"{self.get_way_display()} {self.address}"


class NoticeMute(Kept):
    """An account does not want one kind of notice from one site; lifted by retiring the row."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="notice_mutes", verbose_name=_("site"))
    user = models.ForeignKey(User, models.PROTECT, related_name="notice_mutes", verbose_name=_("account"))
    kind = models.CharField(_("kind"), max_length=12, choices=NoticeKind.choices)
    why = models.CharField(_("reason"), max_length=300)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "user", "kind"], condition=Q(retired_at=None), name="one_current_mute"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.kind}"


class Snooze(Entry):
    """Somebody answers for one thing until an instant; until then it is in no notice."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="snoozes", verbose_name=_("site"))
    thing = models.CharField(_("thing"), max_length=200)
    owner = models.ForeignKey(User, models.PROTECT, related_name="snoozes", verbose_name=_("owner"))
    until = models.DateTimeField(_("until"))
    why = models.CharField(_("reason"), max_length=300)

    class Meta:
        indexes = [models.Index(fields=["site", "until"], condition=Q(retired_at=None), name="snooze_in_force")]

    def __str__(self) -> str:
        return f"{self.thing} until {self.until}"


class Notice(models.Model):
    """One thing told to one account, or to the site. Stored once per key, whatever runs twice."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="notices", verbose_name=_("site"))
    user = models.ForeignKey(User, models.PROTECT, null=True, related_name="notices", verbose_name=_("account"))
    kind = models.CharField(_("kind"), max_length=12, choices=NoticeKind.choices)
    once_key = models.CharField(max_length=200, unique=True)
    subject = models.CharField(_("subject"), max_length=200)
    body = models.TextField(_("text"))
    next_action = models.CharField(_("what to do next"), max_length=300)
    link = models.CharField(_("page"), max_length=300, blank=True)
    things = models.JSONField(default=list)
    made_at = models.DateTimeField()
    answer_by = models.DateTimeField(null=True)
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.CharField(max_length=150, blank=True)
    acted_at = models.DateTimeField(null=True)
    raised_from = models.ForeignKey("self", models.PROTECT, null=True, related_name="raised")

    class Meta:
        indexes = [
            models.Index(fields=["answer_by"], condition=Q(acknowledged_at=None), name="notice_unanswered"),
            models.Index(fields=["user", "-made_at"], name="notice_of_user"),
            models.Index(fields=["site", "kind", "-made_at"], name="notice_of_site"),
        ]

    def __str__(self) -> str:
        return self.subject


class Delivery(models.Model):
    """One notice on one way: waiting, sent, or given up."""

    notice = models.ForeignKey(Notice, models.PROTECT, related_name="deliveries")
    way = models.ForeignKey(NoticeWay, models.PROTECT, related_name="deliveries")
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True)
    given_up_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["notice", "way"], name="notice_once_per_way")]
        indexes = [
            models.Index(fields=["due_at"], condition=Q(sent_at=None, given_up_at=None), name="delivery_waiting"),
        ]

    def __str__(self) -> str:
        return f"{self.notice_id} {self.way_id}"
