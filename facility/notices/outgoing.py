"""One POST to an address that somebody entered: no redirect is followed, and nothing on this machine is reached."""

from __future__ import annotations

import http.client
import socket
import ssl
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _

from facility.compute.far_side import is_refused
from facility.notices.parcel import SendError

if TYPE_CHECKING:
    from collections.abc import Mapping

STEP_S: Final = 10.0
WHOLE_S: Final = 20.0
"""Seconds for one step of the network, and for all of a message; common practice, no source."""
AGENT: Final = "Deepstead"
GONE: Final = 410


class RefusedAddressError(SendError):
    """The name of the far side leads to an address that nothing is sent to."""


def post(url: str, headers: Mapping[str, str], body: bytes) -> None:
    """Send one message; a status from 200 to 299 is success, and nothing of the answer's text is read.

    Errors: SendError with what the network or the far side said.
    """
    parts = urlsplit(url)
    link = _link(url)
    ends = threading.Timer(WHOLE_S, _cut, [link])
    ends.daemon = True
    ends.start()
    try:
        path = f"{parts.path or '/'}{'?' if parts.query else ''}{parts.query}"
        link.request("POST", path, body=body, headers={"user-agent": AGENT, **headers})
        status = link.getresponse().status
    except SendError:
        raise
    except (OSError, http.client.HTTPException, UnicodeError) as error:
        raise _told(error) from error
    finally:
        ends.cancel()
        link.close()
    _judge(status)


class _Plain(http.client.HTTPConnection):
    def connect(self) -> None:
        self.sock = _opened(self.host, self.port)


class _Sealed(http.client.HTTPSConnection):
    def connect(self) -> None:
        raw, context = _opened(self.host, self.port), ssl.create_default_context()
        made = context.wrap_socket(raw, server_hostname=self.host, do_handshake_on_connect=False)
        self.sock = made  # at hand for _cut() while the far side is slow to shake hands
        made.do_handshake()


def _link(url: str) -> http.client.HTTPConnection:
    parts = urlsplit(url)
    kinds: dict[str, type[http.client.HTTPConnection]] = {"http": _Plain, "https": _Sealed}
    kind = kinds.get(parts.scheme)
    if kind is None or not parts.hostname:
        raise SendError(_("The address does not begin with http:// or https://."), final=True)
    port = parts.port or kind.default_port  # told, since a bare IPv6 address would be cut at its last colon
    return kind(parts.hostname, port, timeout=STEP_S)


def _opened(host: str, port: int) -> socket.socket:
    """Return a connection to the first address that answers. Each is looked at after the name was resolved."""
    found = [str(one[4][0]) for one in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    allowed = [one for one in found if is_local_allowed(host, port) or not is_refused(one)]
    if not allowed:
        raise RefusedAddressError(
            _("The address leads to this machine or its link; name the host in DEEPSTEAD_NOTICE_LOCAL_ALLOWED first.")
        )
    for address in allowed[:-1]:
        with suppress(OSError):
            return socket.create_connection((address, port), timeout=STEP_S)
    return socket.create_connection((allowed[-1], port), timeout=STEP_S)


def is_local_allowed(host: str, port: int) -> bool:
    """Return whether the settings name this host, with or without its port, although it is on this machine."""
    return not {host.lower(), f"{host.lower()}:{port}"}.isdisjoint(one.lower() for one in settings.NOTICE_LOCAL_ALLOWED)


def _cut(link: http.client.HTTPConnection) -> None:
    """End a connection whose far side keeps it open with a byte now and then."""
    if link.sock is not None:
        with suppress(OSError):
            link.sock.shutdown(socket.SHUT_RDWR)


def _judge(status: int) -> None:
    if http.client.OK <= status < http.client.MULTIPLE_CHOICES:
        return
    if http.client.MULTIPLE_CHOICES <= status < http.client.BAD_REQUEST:
        raise SendError(
            _("The address answers %(status)d and leads elsewhere; enter the one it leads to.") % {"status": status}
        )
    raise SendError(_("The far side answers %(status)d.") % {"status": status}, final=status == GONE)


def _told(error: BaseException) -> SendError:
    """Say what went wrong on the way, without the address."""
    words: dict[type[BaseException], str] = {
        TimeoutError: _("The far side does not answer in time."),
        ssl.SSLCertVerificationError: _("The certificate of the far side does not hold."),
        ssl.SSLError: _("No TLS connection to the far side comes about."),
        socket.gaierror: _("The name of the far side is not found."),
        ConnectionRefusedError: _("The far side refuses the connection."),
        UnicodeError: _("The name of the far side is not found."),
    }
    found = next(
        (said for kind, said in words.items() if isinstance(error, kind)), _("The far side cannot be reached.")
    )
    return SendError(found, link_down=True)
