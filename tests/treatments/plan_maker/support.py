"""A chamber with its locks, as the handbook's example has them, and the pages of plans."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.test import Client
from django.urls import reverse

from facility.models import Chamber
from tests import make
from tests.treatments.table_book.support import director, signed_in


def with_locks(*, medical: bool = True) -> Chamber:
    """Return a chamber of 300 and 125 cubic feet, its medical lock 2 cubic feet."""
    chamber = make.chamber()
    kinds = [("inner", 300), ("outer", 125), *([("medical", 2)] if medical else [])]
    for kind, volume in kinds:
        make.lock(chamber, key=kind, name=f"{kind.title()} lock", kind=kind, volume=Decimal(volume), volume_unit="ft3")
    return chamber


def client_of(chamber: Chamber) -> Client:
    """Return a signed-in director of the chamber's site."""
    return signed_in(director(chamber.site))


def page(client: Client, of: Chamber, name: str = "make_plan", **query: Any) -> Any:
    """Open the page of sums, or of the plan filled in from them."""
    return client.get(reverse(f"treatments:{name}", args=[of.site.key]), query)
