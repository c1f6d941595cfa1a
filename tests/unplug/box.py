"""A box under test: its pages as a browser gets them, and what it has stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.urls import reverse

from facility import record_check
from facility.models import Event, Site
from maintenance.models import BankReading, GasBank

if TYPE_CHECKING:
    from django.test import Client

    from tests.facility.events.store import Store

#: what must never stand on a page that people read
INNARDS = ("Traceback", "OperationalError", "psycopg", "sqlite3", "Errno", ".py", "SELECT ")


@dataclass(frozen=True)
class Box:
    """A box with one facility; ``client`` is signed in and may do everything."""

    made: Store
    client: Client

    def site(self) -> Site:
        return Site.objects.order_by("pk")[0]

    def now_page(self) -> tuple[int, str]:
        return self.page(reverse("readiness:now", args=[self.site().key]))

    def page(self, address: str) -> tuple[int, str]:
        answer = self.client.get(address)
        return answer.status_code, answer.content.decode()

    def enter_reading(self, pressure: str = "1999", **more: Any) -> tuple[int, str]:
        """Type a reading of a bank, as a person does."""
        site = self.site()
        bank = GasBank.objects.filter(chamber__site=site).order_by("pk")[0]
        typed = {
            "bank": bank.pk,
            "read_at": "11 Mar 2026 20:00",
            "pressure": pressure,
            "unit": bank.gauge_unit,
            "temperature_c": "15",
            "read_by": "R. Achter",
        }
        answer = self.client.post(reverse("records:add", args=[site.key, "reading"]), typed | more)
        return answer.status_code, answer.content.decode()

    def kept(self) -> tuple[int, int]:
        """Return how many readings and events there are."""
        return BankReading.objects.count(), Event.objects.count()

    def ready(self) -> tuple[int, dict[str, Any]]:
        answer = self.client.get("/readyz")
        return answer.status_code, answer.json()["parts"]


def is_plain(page: str) -> bool:
    """Return whether a page speaks to people: what happened, what of theirs is lost, what to do; no innards."""
    return not [word for word in INNARDS if word in page] and "Nothing was stored by this step" in page


def nothing_wrong() -> bool:
    """Return whether log, triggers and rows are as they must be."""
    return record_check.verify().ok and record_check.file_check() == ()
