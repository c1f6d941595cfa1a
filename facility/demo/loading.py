"""Loading the demo set: every day moved so that its own today is the day of loading.

The box is set up some weeks before: what lay behind goes through the importer on that day, and from then on each act is
recorded by the clock of its own instant.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events
from facility.accounts.demo import DEMO_PASSWORD, demo_sign_ins
from facility.accounts.services import NewAccount, invite
from facility.demo.clock import played_from
from facility.demo.errors import DemoError
from facility.demo.moments import live
from facility.demo.runs import key_in_runs, logged_runs
from facility.demo.told import Days, Told
from facility.demo.weeks import weeks
from facility.demo.year import play
from facility.imports.folder import read_folder
from facility.imports.take import Options, take
from facility.models import Organisation, Person, Site, SiteRole, User
from facility.trust import keys

if TYPE_CHECKING:
    from datetime import date, timedelta

    from facility.events import Actor
    from facility.imports.report import Report

FOLDER = Path(__file__).parent / "skerrow"
MARKER = "demo-data"
NOON = time(12)


@dataclass(frozen=True, slots=True)
class Loaded:
    """What loading did; ``report`` None: it was there already."""

    site: Site
    report: Report | None
    accounts: tuple[str, ...] = ()


def demo_set() -> dict[str, Any]:
    """Return what set.toml says: its own today, its site, whose account is whose."""
    return tomllib.loads((FOLDER / "set.toml").read_text(encoding="utf-8"))


def shift_to(day: date) -> timedelta:
    """Return by how much the set is moved so that its today becomes ``day``."""
    own: date = demo_set()["today"]
    return day - own


def zone_of_set() -> ZoneInfo:
    """Return the zone of the demo's site, in which its day of loading is told."""
    header, line = read_folder(FOLDER)["site.csv"].decode("utf-8").splitlines()[:2]
    return ZoneInfo(dict(zip(header.split(","), line.split(","), strict=False))["zone"])


def load(day: date) -> Loaded:
    """Store the demo as of ``day``, with its accounts and the mark in the data folder; nothing if it is there.

    Errors: DemoError if anything else is stored, or the set does not fit the app.
    """
    there = _already_there()
    if there is not None:
        _mark()
        return Loaded(there, None)
    days, today = Days(shift_to(day), zone_of_set()), datetime.combine(demo_set()["today"], NOON)
    until = min(events.now(), days.at(today))
    with transaction.atomic(), played_from(days.at(demo_set()["set_up_at"])) as clock:
        loaded = _set_up(days)
        lived = (*weeks(_told("weeks", loaded.site, days), until), *logged_runs(_told("runs", loaded.site, days)))
        live(lived, clock)
    _mark()
    return loaded


def _set_up(days: Days) -> Loaded:
    """Begin as a first start does, take in from files what lies behind, make the accounts, key in what was on paper.

    Errors: DemoError if the set does not fit the app.
    """
    keys.ensure()
    by = events.system("demo")
    report = take(read_folder(FOLDER), Options(shift=days.shift), by=by)
    if not report.taken:
        raise DemoError(
            _("The demo set does not fit this version of the app:\n%(report)s") % {"report": report.as_text()}
        )
    site = Site.objects.get(key=demo_set()["site"])
    play(_told("year", site, days))
    accounts = _make_accounts(site, by=by)
    key_in_runs(_told("runs", site, days))
    return Loaded(site, report, accounts)


def _told(name: str, site: Site, days: Days) -> Told:
    return Told(tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8")), site, days)


def _already_there() -> Site | None:
    """Return the demo's site if this is the demo; refuse to mix it with real records."""
    key = demo_set()["site"]
    names = {sign_in.username for sign_in in demo_sign_ins()}
    others = Site.objects.exclude(key=key).exists() or User.objects.exclude(username__in=names).exists()
    sites: Any = Site.objects.filter(key=key)
    site: Site | None = sites.first()
    empty = not (Organisation.objects.exists() or User.objects.exists())
    if others or (site is None and not empty) or (site is not None and not (settings.DATA_DIR / MARKER).is_file()):
        raise DemoError(
            _(
                "There are other records here, and the demo never mixes with them. Use an empty data folder: DEEPSTEAD_DATA=…"
            )
        )
    return site


def _make_accounts(site: Site, *, by: Actor) -> tuple[str, ...]:
    """Make the accounts; one slow digest of the password that all share is enough."""
    persons, password = demo_set()["people"], make_password(DEMO_PASSWORD)
    made = []
    for sign_in in demo_sign_ins():
        role = SiteRole(sign_in.username)
        person = Person.objects.get(site=site, key=persons[role.value])
        user = invite(site, NewAccount(sign_in.username, person.name, (role.value,), person), by=by)
        user.password = password
        user.is_superuser = role is SiteRole.DIRECTOR  # as the first account of an own box: it sees to the box itself
        user.save(update_fields=["password", "is_superuser"])
        made.append(f"{sign_in.username} ({person.name})")
    return tuple(made)


def _mark() -> None:
    """Mark the data folder as holding the demo, so that every page says so."""
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    (settings.DATA_DIR / MARKER).touch()
