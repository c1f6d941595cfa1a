"""A call-out: from the telephone call until the chamber leaves surface or the call is over."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Kept, Person
from treatments.models.plan import Plan
from treatments.models.run import Run


class CallOut(Kept):
    """One call. ``began_at`` starts its clock."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="calls", verbose_name=_("chamber"))
    began_at = models.DateTimeField(_("began at"))
    began_by = models.CharField(_("begun by"), max_length=150)
    plan = models.ForeignKey(
        Plan, models.PROTECT, null=True, blank=True, related_name="calls", verbose_name=_("table"),
        help_text=_("Empty: not decided."),
    )  # fmt: skip
    run = models.ForeignKey(
        Run, models.PROTECT, null=True, blank=True, related_name="calls", verbose_name=_("run"), editable=False
    )
    ended_at = models.DateTimeField(_("over at"), null=True, blank=True, editable=False)
    outcome = models.CharField(_("how it ended"), max_length=300, blank=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["chamber"], condition=Q(ended_at=None, retired_at=None), name="one_call_at_a_time"
            )
        ]
        ordering = ["-began_at"]

    def __str__(self) -> str:
        return f"{self.chamber} {self.began_at:%Y-%m-%d %H:%M}"


class CallAnswer(models.TextChoices):
    """What somebody who was asked has said."""

    ASKED = "asked", _("asked, no answer yet")
    COMING = "coming", _("is coming")
    HERE = "here", _("is here")
    CANNOT = "cannot", _("cannot come")


class CallPerson(Kept):
    """One person of the crew in one call."""

    call = models.ForeignKey(CallOut, models.PROTECT, related_name="people", verbose_name=_("call"))
    person = models.ForeignKey(Person, models.PROTECT, related_name="calls", verbose_name=_("person"))
    answer = models.CharField(_("answer"), max_length=8, choices=CallAnswer.choices, default=CallAnswer.ASKED)
    asked_at = models.DateTimeField(_("asked at"))
    answered_at = models.DateTimeField(_("answered at"), null=True, blank=True)
    expected_at = models.DateTimeField(_("expected here at"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["call", "person"], condition=Q(retired_at=None), name="asked_once_in_call")
        ]
        ordering = ["call_id", "id"]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_answer_display()}"
