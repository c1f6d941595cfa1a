"""Packs, and verifying one without an account."""

from __future__ import annotations

from datetime import date
from typing import Any

from facility.access import Act
from facility.models import Pack, Site
from facility.pack import services
from tests import make

PAGES = {"pack:packs": Act.PACK, "pack:pack": Act.PACK, "pack:again": Act.PACK, "pack:fetch": Act.PACK}
OPEN = {"pack:verify", "pack:verified", "pack:code"}


def rows(site: Site) -> dict[str, Any]:
    """Return a pack that was asked for, and a token that nobody was given."""
    wanted = Pack(site=site, from_day=date(2026, 3, 1), to_day=date(2026, 3, 2), recipient="Ada Test", ground="Test")
    pack = services.ask(wanted, [], by=make.BY)
    number = {"number": pack.number}
    return {"pack:pack": number, "pack:again": number, "pack:fetch": number,
            "pack:verified": {"token": f"{'0' * 8}-{'0' * 32}"}}  # fmt: skip
