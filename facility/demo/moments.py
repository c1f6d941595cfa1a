"""Acts of the demo, each at its own instant, and the accounts in whose name they are done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.events import Actor
from facility.models import User

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from facility.demo.clock import Clock


@dataclass(frozen=True, slots=True)
class Moment:
    """One act and the instant at which it is done."""

    at: datetime
    do: Callable[[], object]


def live(moments: Iterable[Moment], clock: Clock) -> None:
    """Do all acts in the order of their time, each with the clock at its instant."""
    for moment in sorted(moments, key=lambda one: one.at):
        clock.go_to(moment.at)
        moment.do()


@dataclass(frozen=True, slots=True)
class SignedIn:
    """An account of the demo and the actor that its pages would record."""

    user: User
    actor: Actor


def signed_in(name: str) -> SignedIn:
    """Return the account of a person by name. Errors: User.DoesNotExist if the person has none."""
    user = User.objects.get(person__name=name)
    return SignedIn(user, Actor(name, user.pk, user.username))
