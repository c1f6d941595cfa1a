"""System checks of the machine and of settings that do not go together. Registered by importing it; each has a hint."""

from __future__ import annotations

import os
import shutil
import sqlite3
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.core.checks import CheckMessage, Error, Info, Tags, Warning, register  # noqa: A004 - Django's own name
from django.db import connections

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.apps import AppConfig

    Apps = Sequence[AppConfig] | None

MEBIBYTE: Final = 1024 * 1024
SHORTEST_TOKEN: Final = 20
"""Letters; a token that is asked for over the network must not be guessed. Common practice, no source."""
MADE: Final = datetime(2026, 11, 1, tzinfo=UTC)
"""A clock before this was never set: this version was not written yet."""
ZONE: Final = "Europe/Oslo"
MOUNTS: Final = Path("/proc/mounts")
#: WAL needs memory that all processes share, so it does not work over a network (sqlite.org/wal.html, section 1)
OVER_A_NETWORK: Final = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "sshfs", "fuse.sshfs", "glusterfs", "ceph"}
)
#: pragma: the value that keeps the last commit at a power cut, and what it stands for (sqlite.org/pragma.html)
PRAGMAS: Final = {"journal_mode": ("wal", "WAL"), "synchronous": (2, "FULL"), "foreign_keys": (1, "ON")}


@register(Tags.files)
def check_room(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report a data folder whose disk is nearly full."""
    try:
        free_mib = shutil.disk_usage(settings.DATA_DIR).free // MEBIBYTE
    except OSError:
        return []  # that the folder is missing is told by another check
    if free_mib >= settings.DISK_LEAST_MIB:
        return []
    hint = "Make room, move the data folder to a larger disk, or lower DEEPSTEAD_DISK_LEAST_MIB if that is enough here."
    return [Warning(f"Only {free_mib} MiB are free where the data folder lies.", hint=hint, id="facility.W005")]


@register(Tags.files)
def check_disk_is_local(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report an SQLite file on a disk of another machine: two processes can then spoil it."""
    if not on_sqlite():
        return []
    kind = file_system_of(settings.DATA_DIR)
    if kind not in OVER_A_NETWORK:
        return []
    hint = "Put the data folder on a disk of this machine, or take PostgreSQL by DEEPSTEAD_DATABASE_URL."
    return [Warning(f"The records lie in an SQLite file on a network disk ({kind}).", hint=hint, id="facility.W013")]


def on_sqlite() -> bool:
    """Return whether the records lie in an SQLite file."""
    return connections["default"].vendor == "sqlite"


def file_system_of(folder: Path) -> str:
    """Return the sort of file system that a folder lies on, as proc(5) tells it; empty where it does not."""
    try:
        lines = MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    places = [line.split()[1:3] for line in lines if line.count(" ") > 1]
    within = [(place, kind) for coded, kind in places if folder.is_relative_to(place := coded.replace("\\040", " "))]
    return max(within, key=lambda one: len(Path(one[0]).parts), default=("", ""))[1]


@register(Tags.database)
def check_sqlite(app_configs: Apps, databases: Sequence[str] | None = None, **_rest: object) -> list[CheckMessage]:
    """Report an SQLite that does not keep the last commit at a power cut. Asked with ``check --database default``."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        if connections[alias].vendor != "sqlite":
            continue
        with connections[alias].cursor() as cursor:
            for name, (wanted, words) in PRAGMAS.items():
                value = cursor.execute(f"PRAGMA {name}").fetchone()[0]
                if value != wanted:
                    found.append(_pragma(name, value, words))
    return found


def _pragma(name: str, value: object, wanted: str) -> CheckMessage:
    hint = (
        "Use the settings of this program as they are; SQLite refuses WAL on disks that cannot map a file into memory."
    )
    text = f"SQLite {sqlite3.sqlite_version} works with {name} = {value}, not {wanted}: a power cut may take what was entered last."
    return Warning(text, hint=hint, id="facility.W006")


@register()
def check_clock(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report a clock that was never set, as on a small machine without a battery."""
    now = datetime.now(UTC)
    if now >= MADE:
        return []
    hint = "Set it (timedatectl), and give the machine a clock with a battery or a time server of the house."
    return [
        Warning(
            f"The clock shows {now:%Y-%m-%d}, which is before this version was made.", hint=hint, id="facility.W014"
        )
    ]


@register()
def check_zones(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report missing data of time zones: no site's day could be reckoned."""
    try:
        ZoneInfo(ZONE)
    except (ZoneInfoNotFoundError, OSError):
        hint = "As root on Debian: apt-get install -y tzdata. Elsewhere: pip install tzdata."
        return [Error("This machine has no data of time zones.", hint=hint, id="facility.E004")]
    return []


@register(Tags.security)
def check_doors(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report settings of doors that do not go together."""
    found: list[CheckMessage] = []
    if settings.HEADER_USER and not settings.HEADER_FROM:
        hint = "Name the proxy's address in DEEPSTEAD_HEADER_FROM, or leave DEEPSTEAD_HEADER_USER empty."
        found.append(Warning("DEEPSTEAD_HEADER_USER counts from nowhere.", hint=hint, id="facility.W007"))
    if settings.HEADER_USER and any(_is_everywhere(one) for one in settings.HEADER_FROM):
        hint = "Name the proxy's own address: who reaches the box from a named network may call himself anybody."
        found.append(Error("DEEPSTEAD_HEADER_FROM lets every address name the account.", hint=hint, id="facility.E005"))
    if settings.SECURE_PROXY_SSL_HEADER and not settings.BEHIND_TLS:
        hint = "Set DEEPSTEAD_TLS=yes when only HTTPS reaches it, or DEEPSTEAD_TRUST_PROXY=no when no proxy stands before it."
        found.append(Warning("A proxy is trusted, but cookies go without TLS.", hint=hint, id="facility.W008"))
    if settings.DEBUG and not settings.DEMO:
        hint = "Set DEEPSTEAD_DEBUG=no: with it a fault shows settings and records to whoever meets it."
        found.append(Warning("DEEPSTEAD_DEBUG is on over real records.", hint=hint, id="facility.W009"))
    return found


def _is_everywhere(text: str) -> bool:
    try:
        return ip_network(text, strict=False).prefixlen == 0
    except ValueError:
        return False


@register(Tags.security)
def check_tokens(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report a token that could be guessed."""
    given = {"DEEPSTEAD_METRICS_TOKEN": settings.METRICS_TOKEN, "DEEPSTEAD_API_TOKEN": settings.API_TOKEN}
    hint = 'Make one with: python3 -c "import secrets; print(secrets.token_urlsafe(32))"'
    return [
        Warning(f"{name} has {len(value)} letters; take at least {SHORTEST_TOKEN}.", hint=hint, id="facility.W010")
        for name, value in given.items()
        if value and len(value) < SHORTEST_TOKEN
    ]


@register()
def check_broker(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report workers of a broker that would share an SQLite file."""
    broker = os.environ.get("DEEPSTEAD_BROKER_URL") or os.environ.get("DEEPSTEAD_BROKER_URL_FILE")
    if not broker or not on_sqlite():
        return []
    hint = "Take PostgreSQL by DEEPSTEAD_DATABASE_URL, or leave DEEPSTEAD_BROKER_URL empty: the embedded runner needs none."
    return [Warning("A broker is set, but the records lie in an SQLite file.", hint=hint, id="facility.W011")]


@register()
def check_copies(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Report a place for copies that is not there now: a stick that is out, or a name that was mistyped."""
    hint = "Plug it in, or correct DEEPSTEAD_BACKUP_COPY. Until then the newest backup is tried again every half hour."
    return [
        Warning(f"The place {place} for copies of backups is not there.", hint=hint, id="facility.W012")
        for place in settings.BACKUP_COPIES
        if not place.is_dir()
    ]


@register(deploy=True)
def check_reach(app_configs: Apps, **_rest: object) -> list[CheckMessage]:
    """Say what a box does without until it is set: a second place for backups, and mail."""
    found: list[CheckMessage] = []
    if not settings.BACKUP_COPIES and not settings.BACKUP_COMMAND:
        hint = "Name a stick or a mounted share in DEEPSTEAD_BACKUP_COPY, or a command in DEEPSTEAD_BACKUP_COMMAND."
        found.append(Info("All backups lie on this machine only.", hint=hint, id="facility.I001"))
    if not settings.EMAIL_HOST:
        hint = "Set DEEPSTEAD_EMAIL_HOST, or let people be told by webhook or push."
        found.append(Info("No mail server is set: no e-mail leaves this box.", hint=hint, id="facility.I002"))
    return found
