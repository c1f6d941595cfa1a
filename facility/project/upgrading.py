"""The two ends of an upgrade: the backup before it, the self-test after it, and the way back if it fails."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db import DatabaseError, transaction

from facility import __version__, events, record_check
from facility.backup import keys, making, proving, store
from facility.backup.faults import BackupError
from facility.project.start import StartError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

BY: Final = events.system("upgrade")


def backup(say: Callable[[str], object]) -> Path:
    """Make a backup in a folder of its own, which pruning leaves alone. Nothing is changed if it fails."""
    folder = store.folder() / f"before-upgrade-{__version__}"
    say(f"Making a backup before the upgrade, in {folder}.")
    try:
        made = making.make(folder, keys.made_in(settings.DATA_DIR), by=None)
    except (BackupError, OSError, DatabaseError) as error:
        raise StartError(
            f"The upgrade was not begun, because its backup could not be made: {error}"
            " Nothing was changed; the version before still runs on these records."
        ) from error
    return made.path


def self_test(say: Callable[[str], object]) -> tuple[int, int]:
    """Check the file, the log with its triggers, and compute each readiness. Return chambers and plans.

    Errors: StartError with the first fault found.
    """
    say("Checking the records and computing each readiness.")
    faults = (*record_check.file_check(), *record_check.verify().faults)
    if faults:
        raise StartError(f"the self-test found: {faults[0]}")
    return proving.answered(events.now())


def note(steps: tuple[str, ...], made: Path) -> None:
    """Record that the upgrade went well."""
    after = {"to": __version__, "steps": ", ".join(steps), "backup": made.name, "self-test": "nothing wrong"}
    with transaction.atomic():
        events.record(None, events.What("software:upgraded", after=after), by=BY)


def way_back(error: Exception, made: Path) -> str:
    """Say that it failed, where everything from before is, and how to go back."""
    return (
        f"The upgrade to {__version__} failed: {error}\n"
        f"All records as they were before it are in {made}\n"
        "To go back: install the version that ran before, name an empty folder in DEEPSTEAD_DATA (or an empty database in"
        f" DEEPSTEAD_DATABASE_URL), and run: python3 manage.py restore {made} --key {settings.DATA_DIR / keys.FILE}\n"
        "Leave the present folder as it is until that is done."
    )
