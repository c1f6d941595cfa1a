"""What happens when too many wrong passwords came from one name and address."""

from __future__ import annotations

from typing import Any

from axes.signals import user_locked_out
from django.dispatch import receiver

from facility.accounts import services


@receiver(user_locked_out)
def keep_lockout(sender: object, username: str | None = None, ip_address: str | None = None, **_more: Any) -> None:
    """Write the event; the library itself does the locking."""
    services.note_locked_out(username or "?", ip_address or "?")
