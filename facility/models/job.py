"""Work to be done by itself: one row a job, written in the transaction that causes it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Job(models.Model):
    """A job with its lease. It may run twice and must then have no second effect."""

    kind = models.CharField(max_length=60)
    arguments = models.JSONField(default=dict)
    once_key = models.CharField(max_length=120, null=True, unique=True)
    made_at = models.DateTimeField()
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    lease_owner = models.CharField(max_length=80, blank=True)
    tries = models.PositiveIntegerField(default=0)
    progress = models.CharField(_("progress"), max_length=200, blank=True)
    finished_at = models.DateTimeField(null=True)
    dead_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True)
    outcome = models.CharField(max_length=500, blank=True)

    class Meta:
        indexes = [models.Index(fields=["due_at"], condition=Q(finished_at=None, dead_at=None), name="job_waiting")]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


class Heartbeat(models.Model):
    """When the job runner last looked; one row a runner."""

    name = models.CharField(max_length=80, unique=True)
    beat_at = models.DateTimeField()
    started_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name
