"""What happens when too many wrong passwords came from one name and address."""

from __future__ import annotations

from typing import Any

from axes.models import AccessAttempt
from axes.signals import user_locked_out
from django.conf import settings
from django.db.models import Sum
from django.db.models.signals import pre_save
from django.dispatch import receiver

from facility.accounts import services


@receiver(pre_save, sender=AccessAttempt)
def keep_nothing_typed(sender: object, instance: AccessAttempt, **_more: Any) -> None:
    """Count wrong passwords, and keep nothing else of the form: at a signature it holds what is signed, and new passwords."""
    instance.get_data = instance.post_data = ""


@receiver(user_locked_out)
def keep_lockout(sender: object, username: str | None = None, ip_address: str | None = None, **_more: Any) -> None:
    """Write the event, once until the lock is lifted or over; the library itself does the locking."""
    tries = AccessAttempt.objects.filter(username=username, ip_address=ip_address)
    if (tries.aggregate(n=Sum("failures_since_start"))["n"] or 0) <= settings.AXES_FAILURE_LIMIT:
        services.note_locked_out(username or "?", ip_address or "?")
