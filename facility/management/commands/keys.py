"""List the keys of this box, or put a new one in the place of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from facility import events
from facility.models import KeyUse
from facility.trust import checkpoints, keys

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    help = "List the keys that sign here, or pass one on to a new one: `keys list`, `keys rotate log --reason TEXT`."
    requires_migrations_checks = True

    def add_arguments(self, parser: ArgumentParser) -> None:
        acts = parser.add_subparsers(dest="act", required=True)
        acts.add_parser("list", help="every key there was, and the newest signed head of the log")
        rotate = acts.add_parser("rotate", help="put a new key in the place of the one in use; both sign that it is so")
        rotate.add_argument("use", choices=KeyUse.values, help="log: heads and packs; seal: papers")
        rotate.add_argument("--reason", required=True, help="kept with the record")

    def handle(self, **options: Any) -> None:
        try:
            if options["act"] == "rotate":
                self._rotate(options["use"], options["reason"])
            self._list()
        except keys.KeyFaultError as error:
            raise CommandError(str(error)) from error

    def _rotate(self, use: str, reason: str) -> None:
        try:
            made = keys.rotate(use, by=events.system("keys"), reason=reason)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"The new key is {made.fingerprint}.")
        self.stdout.write("Print the wall sheet anew: packs from now on are compared with this fingerprint.")

    def _list(self) -> None:
        keys.ensure()
        for key in keys.all_public():
            until = f"until {key.in_use_until:%Y-%m-%d %H:%M} UTC" if key.in_use_until else "in use"
            self.stdout.write(f"{key.use:4} {key.fingerprint} from {key.in_use_from:%Y-%m-%d %H:%M} UTC, {until}")
        newest = checkpoints.newest()
        if newest is not None:
            code = checkpoints.short_code(bytes(newest.root))
            self.stdout.write(f"newest head: {newest.size} events, {newest.made_at:%Y-%m-%d %H:%M} UTC, {code}")
