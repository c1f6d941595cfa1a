"""Notices by e-mail: plain text, with a name by which a second copy is known (RFC 5322, Message-ID)."""

from __future__ import annotations

import smtplib
import ssl
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.utils.translation import gettext as _

from facility.notices.parcel import SendError, with_links

if TYPE_CHECKING:
    from django.core.mail.backends.base import BaseEmailBackend

    from facility.notices.parcel import Parcel

LAST_TRANSIENT: Final = 499
"""SMTP replies from 500 on are permanent (RFC 5321, section 4.2.1)."""


def is_set_up() -> bool:
    """Return whether this box has somewhere to hand its e-mail to."""
    return bool(settings.EMAIL_HOST)


def message_of(parcel: Parcel) -> EmailMessage:
    """Return the message as it is sent."""
    sender: str = settings.DEFAULT_FROM_EMAIL
    host = sender.rpartition("@")[2].strip(" <>") or "deepstead.invalid"
    return EmailMessage(
        subject=f"{parcel.site_name}: {parcel.subject}",
        body=text_of(parcel),
        from_email=sender,
        to=[parcel.address],
        # RFC 3834: no holiday answer comes back
        headers={"Message-ID": f"<notice-{parcel.name}@{host}>", "Auto-Submitted": "auto-generated"},
    )


def text_of(parcel: Parcel) -> str:
    """Return the text: what to do next first, then the notice, then when it was true."""
    as_of = _("As of %(at)s. Look at the page before you act on it: it may have changed.") % {
        "at": f"{parcel.made_at:%Y-%m-%d %H:%M %Z}",
    }  # fmt: skip
    next_step = _("Next: %(what)s") % {"what": parcel.next_action}
    parts = [next_step, parcel.link, with_links(parcel.body, parcel.site_key), as_of]
    return "\n\n".join(part for part in parts if part.strip()) + "\n"


class Line:
    """The line to the mail server, opened with the first message and used for all of a batch."""

    def __init__(self) -> None:
        self._open: BaseEmailBackend | None = None

    def send(self, parcel: Parcel) -> None:
        """Hand one message over.

        Errors: SendError with what the server or the network said.
        """
        if not is_set_up():
            raise SendError(_("No e-mail is set up on this box."), final=True)
        try:
            self._hand_over(message_of(parcel))
        except (smtplib.SMTPException, OSError) as error:
            self.close()
            raise _told(error, parcel) from error

    def _hand_over(self, message: EmailMessage) -> None:
        """Send on the open line; where the server has ended it meanwhile, on a new one, under the same name."""
        if self._open is not None:
            try:
                self._open.send_messages([message])
            except smtplib.SMTPServerDisconnected:
                self.close()
            else:
                return
        self._open = get_connection()  # held from the start: one that opens halfway is ended too
        self._open.open()
        self._open.send_messages([message])

    def close(self) -> None:
        """End the line; a server that is gone already is no error."""
        connection, self._open = self._open, None
        if connection is not None:
            try:
                connection.close()
            except (smtplib.SMTPException, OSError):
                return


def _told(error: Exception, parcel: Parcel) -> SendError:
    """Say what went wrong, and whether the next message may fare better."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(error.recipients.values()))
        return _refused(code, said, parcel)
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return SendError(
            _("The mail server refuses the user name or password (%(code)d).") % {"code": error.smtp_code},
            link_down=True,
        )
    if isinstance(error, smtplib.SMTPDataError):
        return _refused(error.smtp_code, error.smtp_error, parcel)
    if isinstance(error, smtplib.SMTPResponseException):
        return SendError(_("The mail server answers %(code)d.") % {"code": error.smtp_code}, link_down=True)
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return SendError(
            _(
                "The mail server offers no STARTTLS, or no sign-in: see DEEPSTEAD_EMAIL_SECURITY and DEEPSTEAD_EMAIL_USER."
            ),
            link_down=True,
        )
    if isinstance(error, ssl.SSLError):
        return SendError(_("The mail server's certificate or TLS does not hold."), link_down=True)
    if isinstance(error, TimeoutError):
        return SendError(_("The mail server does not answer in time."), link_down=True)
    return SendError(_("The mail server cannot be reached."), link_down=True)


def _refused(code: int, said: bytes | str, parcel: Parcel) -> SendError:
    """Tell a refusal by its code; the server's words without the address."""
    text = said.decode(errors="replace") if isinstance(said, bytes) else said
    words = text.replace(parcel.address, "…")[:200]
    return SendError(
        _("The mail server refuses it: %(code)d %(words)s") % {"code": code, "words": words},
        final=code > LAST_TRANSIENT,
    )
