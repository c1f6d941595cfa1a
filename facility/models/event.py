"""The append-only, hash-chained log. Triggers on both databases refuse everything but the next event."""

from __future__ import annotations

from django.db import models


class Event(models.Model):
    """One thing that happened, in the exact text over which its digest was taken.

    ``payload`` is canonical JSON text; ``digest`` is the SHA-256 over a domain label, NUL,
    the previous digest and the payload bytes. The plain columns repeat parts of the
    payload for queries; the payload alone is the record.
    """

    seq = models.PositiveBigIntegerField(primary_key=True)
    payload = models.TextField()
    prev = models.BinaryField(max_length=32)
    digest = models.BinaryField(max_length=32)
    recorded_at = models.DateTimeField()
    action = models.CharField(max_length=60)
    actor = models.CharField(max_length=150)
    subject_kind = models.CharField(max_length=60, blank=True)
    subject_id = models.BigIntegerField(null=True)
    site_id_text = models.CharField(max_length=60, blank=True)
    reason = models.CharField(max_length=1000, blank=True)
    late = models.BooleanField(default=False)
    clock_suspect = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~models.Q(actor=""), name="event_has_actor"),
            models.CheckConstraint(condition=~models.Q(action=""), name="event_has_action"),
        ]
        indexes = [
            models.Index(fields=["subject_kind", "subject_id"], name="event_of_subject"),
            models.Index(fields=["site_id_text", "-seq"], name="event_of_site"),
        ]
        ordering = ["seq"]

    def __str__(self) -> str:
        return f"{self.seq} {self.action}"
