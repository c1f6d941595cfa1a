"""A limit on the whole of a talk with a far side: one that sends a byte now and then gets past a limit on each step."""

from __future__ import annotations

import os
import socket
import threading
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


class TimeLimit:
    """Ends a connection when its time is over. It holds a second handle, so that TLS may take over the first."""

    def __init__(self) -> None:
        self.is_over = False
        self._handle: socket.socket | None = None
        self._one_at_a_time = threading.Lock()

    def watch(self, made: socket.socket) -> None:
        """End this connection when the time is over. Errors: TimeoutError if it is over already."""
        with self._one_at_a_time:
            if self.is_over:
                made.close()
                raise TimeoutError
            self._let_go()
            self._handle = socket.socket(fileno=os.dup(made.fileno()))

    def end(self) -> None:
        """End the connection now."""
        with self._one_at_a_time:
            self.is_over = True
            if self._handle is not None:
                with suppress(OSError):
                    self._handle.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Let the connection go on by itself."""
        with self._one_at_a_time:
            self._let_go()

    def _let_go(self) -> None:
        if self._handle is not None:
            self._handle.close()
            self._handle = None


_now: ContextVar[TimeLimit | None] = ContextVar("time limit", default=None)


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Give the connections that are watched inside so much time together.

    Errors: TimeoutError in the place of whatever ends a connection whose time is over.
    """
    limit = TimeLimit()
    timer = threading.Timer(seconds, limit.end)
    timer.daemon = True
    timer.start()
    token = _now.set(limit)
    try:
        yield
    except Exception as error:
        if limit.is_over:
            raise TimeoutError from error
        raise
    finally:
        _now.reset(token)
        timer.cancel()
        limit.close()


def watched(made: socket.socket) -> socket.socket:
    """Return a connection, which from now on ends with the limit that is on in this thread, if one is."""
    limit = _now.get()
    if limit is not None:
        limit.watch(made)
    return made
