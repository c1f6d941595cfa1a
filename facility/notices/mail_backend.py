"""How e-mail leaves this box: Django's own way, with a limit on how long the mail server may take for one message."""

from __future__ import annotations

import smtplib
from typing import TYPE_CHECKING, Any, Final

from django.core.mail.backends import smtp

from facility.notices.time_limit import watched, within

if TYPE_CHECKING:
    import socket

    from django.core.mail import EmailMessage

WHOLE_S: Final = 60.0
"""Seconds for opening a line, and for one message on it; common practice, no source."""


class _Plain(smtplib.SMTP):
    def _get_socket(self, host: str, port: int, timeout: Any) -> socket.socket:
        return watched(super()._get_socket(host, port, timeout))  # type: ignore[misc]  # not in the types, long in the library


class _Sealed(smtplib.SMTP_SSL, _Plain):
    """TLS from the first byte, on a connection that is watched before it shakes hands."""


class Backend(smtp.EmailBackend):
    """Django's own backend; TimeoutError from a mail server that takes too long, be it a byte at a time."""

    @property
    def connection_class(self) -> type[smtplib.SMTP]:
        """Return what speaks to the mail server."""
        return _Sealed if self.use_ssl else _Plain

    def open(self) -> bool | None:
        """Open the line."""
        with within(WHOLE_S):
            return super().open()

    def close(self) -> None:
        """End the line."""
        with within(WHOLE_S):
            self._watch()
            super().close()

    def _send(self, email_message: EmailMessage) -> bool:
        with within(WHOLE_S):
            self._watch()
            return bool(super()._send(email_message))  # type: ignore[misc]  # not in the types, long in the library

    def _watch(self) -> None:
        for line in (self.connection, getattr(self, "_partial_connection", None)):
            if line is not None and line.sock is not None:
                watched(line.sock)
