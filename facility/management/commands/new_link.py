"""manage.py new_link NAME: a one-time link to a new password, for whoever keeps the box."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from facility import events
from facility.accounts import factors, invites, services
from facility.management.records_command import RecordsCommand
from facility.models import User

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(RecordsCommand):
    help = (
        "Print a one-time link by which an account sets a new password: for a director who is locked out. "
        "Everybody else gets such a link from the director, under Accounts."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="sign-in name of the account")
        parser.add_argument(
            "--without-proofs",
            action="store_true",
            help="its second proofs are lost too, with the codes on paper: take them off",
        )

    def handle(self, **options: Any) -> None:
        user = User.objects.filter(username=options["name"]).first()
        if user is None:
            raise CommandError(f"There is no account with the sign-in name '{options['name']}'.", returncode=2)
        if not user.is_active:
            raise CommandError(f"The account '{user.username}' is deactivated: let it in again first.", returncode=2)
        by = events.system("new-link")
        services.note_new_link(user, by=by, site=None)
        if options["without_proofs"]:
            for row in factors.of(user):
                factors.take_off(row, by=by, reason="lost, taken off at the command line")
        elif factors.asked_of(user):
            self.stdout.write("The account still asks for its second proof; if that is lost too, add --without-proofs.")
        self.stdout.write("Open once, on the address of this box:")
        self.stdout.write(invites.password_link(user))
