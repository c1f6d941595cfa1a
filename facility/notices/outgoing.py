"""One POST to an address that somebody entered: no redirect is followed, and nothing on this machine is reached."""

from __future__ import annotations

import http.client
import socket
import ssl
from contextlib import suppress
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.compute.far_side import is_refused
from facility.notices.parcel import SendError
from facility.notices.time_limit import watched, within

if TYPE_CHECKING:
    from collections.abc import Mapping

STEP_S: Final = 10.0
WHOLE_S: Final = 20.0
"""Seconds for one step of the network, and for all of a message; common practice, no source."""
MOST_TRIED: Final = 3
"""So many addresses of one name are tried: each may take a step."""
AGENT: Final = "Deepstead"
GONE: Final = 410
LEADS_BACK: Final = gettext_lazy(
    "The address leads to this machine or its link; name the host in DEEPSTEAD_NOTICE_LOCAL_ALLOWED first."
)


class RefusedAddressError(SendError):
    """The name of the far side leads to an address that nothing is sent to."""


def post(url: str, headers: Mapping[str, str], body: bytes) -> None:
    """Send one message; a status from 200 to 299 is success, and nothing of the answer's text is read.

    Errors: SendError with what the network or the far side said.
    """
    parts = urlsplit(url)
    link = _link(url)
    path = f"{parts.path or '/'}{'?' if parts.query else ''}{parts.query}"
    try:
        with within(WHOLE_S):
            link.request("POST", path, body=body, headers={"user-agent": AGENT, **headers})
            status = link.getresponse().status
    except SendError:
        raise
    except (OSError, http.client.HTTPException, UnicodeError) as error:
        raise _told(error) from error
    finally:
        link.close()
    _judge(status)


class _Plain(http.client.HTTPConnection):
    def connect(self) -> None:
        self.sock = _opened(self.host, self.port)


class _Sealed(http.client.HTTPSConnection):
    def connect(self) -> None:
        raw = _opened(self.host, self.port)
        self.sock = ssl.create_default_context().wrap_socket(raw, server_hostname=self.host)


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
    may_be_local = is_local_allowed(host, port)
    found = [str(one[4][0]) for one in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    allowed = [one for one in found if may_be_local or not is_refused(one)][:MOST_TRIED]
    if not allowed:
        raise RefusedAddressError(str(LEADS_BACK))
    for address in allowed[:-1]:
        with suppress(OSError):
            return _connected(address, port, may_be_local=may_be_local)
    return _connected(allowed[-1], port, may_be_local=may_be_local)


def _connected(address: str, port: int, *, may_be_local: bool) -> socket.socket:
    """Return a connection to one address; an address of this machine itself is known by its two ends being the same."""
    made = watched(socket.create_connection((address, port), timeout=STEP_S))
    if not may_be_local and made.getsockname()[0] == made.getpeername()[0]:
        made.close()
        raise RefusedAddressError(str(LEADS_BACK))
    return made


def is_local_allowed(host: str, port: int) -> bool:
    """Return whether the settings name this host, with or without its port, although it is on this machine."""
    return not {host.lower(), f"{host.lower()}:{port}"}.isdisjoint(one.lower() for one in settings.NOTICE_LOCAL_ALLOWED)


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
