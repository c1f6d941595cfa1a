"""List the keys of this box, or put a new one in the place of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from facility import events
from facility.counted import counted
from facility.models import KeyUse
from facility.trust import anew, chain, checkpoints, keys

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
        rotate.add_argument(
            "--lost", action="store_true", help="the private key is gone and in no backup: begin a new one, and say that the chain is broken"
        )  # fmt: skip
        rotate.add_argument("--reason", required=True, help="kept with the record")

    def handle(self, **options: Any) -> None:
        try:
            if options["act"] == "rotate":
                self._rotate(options["use"], options["reason"], lost=options["lost"])
            self._list()
        except (keys.KeyFaultError, anew.KeyIsHereError) as error:
            raise CommandError(str(error)) from error

    def _rotate(self, use: str, reason: str, *, lost: bool) -> None:
        try:
            made = (anew.begin if lost else keys.rotate)(use, by=events.system("keys"), reason=reason)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"The new key is {made.fingerprint}.")
        if lost:
            self.stdout.write(
                "The chain of keys is broken here: nobody but the new key says that it took the old one's place."
            )
        self.stdout.write("Print the wall sheet anew: packs from now on are compared with this fingerprint.")

    def _list(self) -> None:
        keys.ensure()
        for link in chain.links():
            key = link.key
            until = f"until {key.in_use_until:%Y-%m-%d %H:%M} UTC" if key.in_use_until else "in use"
            how = "" if link.holds else ", A SIGNATURE DOES NOT HOLD"
            how += ", chain broken: signed on by nobody" if link.broken else ""
            self.stdout.write(f"{key.use:4} {key.fingerprint} from {key.in_use_from:%Y-%m-%d %H:%M} UTC, {until}{how}")
        newest = checkpoints.newest()
        if newest is not None:
            code = checkpoints.short_code(bytes(newest.root))
            self.stdout.write(
                f"newest head: {counted(newest.size, 'event', 'events')}, {newest.made_at:%Y-%m-%d %H:%M} UTC, {code}"
            )
