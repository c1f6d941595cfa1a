"""What the tests of packs share: asking for one, building it, opening it."""

from __future__ import annotations

import zipfile
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from facility.models import Pack, Site
from facility.pack import building, services
from tests import make

if TYPE_CHECKING:
    from facility.pack.released import Release


def silent(_sentence: str) -> None:
    """Tell nobody."""


def asked(site: Site, releases: list[Release] | None = None, **more: Any) -> Pack:
    """Ask for a pack of the year to today, without a job."""
    today = datetime.now(ZoneInfo(site.zone)).date()  # the newest that is not ahead there, also before midnight in UTC
    wanted = {"from_day": date(2026, 1, 1), "to_day": today, "recipient": "Ada Test", "ground": "Code, 7"} | more
    return services.ask(Pack(site=site, **wanted), releases or [], by=make.BY, queue=False)


def built(site: Site, releases: list[Release] | None = None, **more: Any) -> Pack:
    """Build a pack."""
    return services.build(asked(site, releases, **more).pk, by=make.BY, say=silent)


def opened(pack: Pack, target: Path) -> Path:
    """Unpack a pack with the standard library and return its folder."""
    with zipfile.ZipFile(building.path_of(pack)) as archive:
        archive.extractall(target)  # made by the test itself
        return target / archive.namelist()[0].split("/")[0]
