"""Put a backup into an empty installation, or try whether it could be."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from facility import events
from facility.backup import keys, proving
from facility.backup.faults import BackupError
from facility.backup.restoring import SETTINGS_FILE, Restored, restore
from facility.backup.trial import PROVED, tried
from facility.counted import counted
from facility.project import start

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "Put a backup into an empty data folder and database. With --trial: only try it, in a scratch place."
    requires_system_checks = []
    loud = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--key",
            type=Path,
            metavar="FILE",
            help="24 words or 64 hex digits; - reads them from standard input; default: the data folder's",
        )
        parser.add_argument(
            "--trial", action="store_true", help="restore into a scratch folder, check, record the result"
        )

        parser.add_argument(
            "--prove", action="store_true", help="afterwards compute every readiness and build every site's report"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.loud = options["verbosity"] > 1
        try:
            key = self._key(options["key"])
            if options["trial"]:
                self._try(options["file"], key)
                return
            with start.one_at_a_time():
                start.refuse_running()
                done = restore(options["file"], key, say=self._say)
            proof = proving.proved(events.now(), self._say) if options["prove"] else None
        except (BackupError, start.StartError) as error:
            raise CommandError(str(error)) from error
        except (OSError, DatabaseError) as error:
            raise CommandError(
                f"The restore stopped: {error}. The records are as they were before. Is there room in {settings.DATA_DIR},"
                " and does the database answer? Then start the same command again."
            ) from error
        self._tell(done, proof)

    def _key(self, given: Path | None) -> keys.Key:
        if given is None:
            found = keys.of_folder(settings.DATA_DIR)
            if found is None:
                raise BackupError(
                    f"There is no key in {settings.DATA_DIR}. Write the 24 words of the backup's key into a file and name it by --key."
                )
            return found
        if str(given) == "-":
            return keys.parse(sys.stdin.read(), source="standard input")
        return keys.from_file(given)

    def _try(self, path: Path, key: keys.Key) -> None:
        found = tried(path, key, by=events.system("restore"), say=self._say)
        if not found.well:
            raise CommandError(f"The trial failed: {found.told}")
        self.stdout.write("The backup can be put back: every table equal to its manifest, the records checked.")
        self.stdout.write(found.report)
        self.stdout.write(found.told)

    def _tell(self, done: Restored, proof: proving.Proof | None) -> None:
        told = done.manifest
        for fault in done.faults:
            self.stderr.write(f"This fault was there already when the backup was made: {fault}")
        for digest in told.missing:
            self.stderr.write(f"The evidence file {digest} was missing or damaged already when the backup was made.")
        self.stdout.write(f"Put back what version {told.version} backed up on {told.made_at}.")
        self.stdout.write(
            f"{counted(sum(told.counts.values()), 'row', 'rows')} in {len(told.counts)} tables equal the backup by SHA-256."
        )
        self.stdout.write(
            f"Its settings are in {settings.DATA_DIR / SETTINGS_FILE}; links for a first or new password no longer hold."
        )
        if proof is not None:
            self.stdout.write(f"{PROVED}{proof.words()}")
        self.stdout.write(f"events {done.events}, head {done.head}")

    def _say(self, sentence: str) -> None:
        if self.loud or sys.stderr.isatty():
            self.stderr.write(sentence, self.style.NOTICE)
