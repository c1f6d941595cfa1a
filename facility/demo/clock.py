"""The clock by which the demo's days are played. It can only be set on a box on which nothing was ever recorded."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING
from unittest.mock import patch

from django.utils.translation import gettext as _

from facility import events
from facility.demo.errors import DemoError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime


class Clock:
    """A clock that goes as the true one does, from where it was put; never backwards and never past the true one."""

    def __init__(self, begin: datetime, now: Callable[[], datetime]) -> None:
        self._true = now
        self._behind = now() - begin
        self.go_to(begin)

    def now(self) -> datetime:
        """Return the time that is played."""
        return self._true() - self._behind

    def go_to(self, at: datetime) -> None:
        """Let it be ``at``, or later if it is later already.

        Errors: DemoError for an instant that is still ahead.
        """
        if at > self._true():
            raise DemoError(
                _("The demo would record something at %(at)s, which is still ahead. Load it as of today or earlier.")
                % {"at": at}
            )
        self._behind = min(self._behind, self._true() - at)

    @property
    def behind_s(self) -> float:
        """Seconds by which it is behind the true one."""
        return self._behind.total_seconds()


@contextmanager
def played_from(begin: datetime) -> Iterator[Clock]:
    """Let all that is recorded inside be recorded by a clock that begins at ``begin``; afterwards it is now again.

    The steady clock is moved along, so that no event is marked for a clock that jumped.
    Errors: DemoError if the log has an entry: on real records no other time than the true one can be recorded.
    """
    if events.newest_seq():
        raise DemoError(
            _("The log of this box has entries already. The demo begins a log of its own: use an empty data folder.")
        )
    clock, steady = Clock(begin, events.now), events.steady_seconds
    with (
        patch.object(events, "now", clock.now),
        patch.object(events, "steady_seconds", lambda: steady() - clock.behind_s),
    ):
        yield clock
