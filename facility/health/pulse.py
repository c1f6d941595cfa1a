"""A sign of life to somebody outside: an address is asked every few minutes, while all parts of this box are well.

Whoever stands behind the address tells people when the signs stop: a box that is off cannot tell it itself. Nothing
but the bare request goes out. It has a thread of its own beside the job runner, so no job waits for it. What came of it
is kept in a file of the data folder, which the page of the jobs and the numbers read.
"""

from __future__ import annotations

import json
import logging
import threading
import urllib.request
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final
from urllib.error import HTTPError, URLError

from django.conf import settings
from django.db import connection

from facility import __version__, events
from facility.health.parts import parts

log = logging.getLogger(__name__)
FILE: Final = "sign-of-life.json"
WAIT_S: Final = 10.0
"""How long one step of the network may take; common practice, no source."""
LETTERS: Final = 200
SETTLE_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Sent:
    """How signs of life stand: instants as ISO 8601 or empty, failures since the last success, and why the last failed.

    ``held_back``: the parts that were not well, so that nothing was sent on purpose.
    """

    tried_at: str = ""
    well_at: str = ""
    failures: int = 0
    error: str = ""
    held_back: str = ""


class _Straight(urllib.request.HTTPRedirectHandler):
    """Follows no redirect: an answer that leads elsewhere is a failure, told with its number."""

    def redirect_request(self, *_rest: Any, **_more: Any) -> None:
        return None


def standing() -> Sent:
    """Return how signs of life stand; what cannot be read is as if none was sent."""
    try:
        return Sent(**json.loads((settings.DATA_DIR / FILE).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return Sent()


def send(at: datetime) -> Sent:
    """Ask the address if all parts are well, keep what came of it, and return it. Nothing is raised for a failure."""
    before, now = standing(), at.isoformat(timespec="seconds")
    ill = sorted(name for name, part in parts(at).items() if not part.ok)
    if ill:
        found = Sent(now, before.well_at, before.failures, before.error, held_back=", ".join(ill))
    elif error := _asked(settings.HEARTBEAT_URL):
        found = Sent(now, before.well_at, before.failures + 1, error)
    else:
        found = Sent(now, now)
    _keep(found)
    return found


def _asked(url: str) -> str:
    """Ask the address; return why that failed, or nothing. The words hold no part of the address, which may be a secret."""
    request = urllib.request.Request(url, headers={"User-Agent": f"Deepstead/{__version__}"})  # noqa: S310 - settings let http and https in only
    try:
        with urllib.request.build_opener(_Straight).open(request, timeout=WAIT_S):
            return ""
    except HTTPError as error:
        error.close()
        return f"it answered {error.code}"
    except URLError as error:
        return (getattr(error.reason, "strerror", None) or type(error.reason).__name__)[:LETTERS]
    except (OSError, ValueError) as error:
        return (getattr(error, "strerror", None) or type(error).__name__)[:LETTERS]


def _keep(found: Sent) -> None:
    target = settings.DATA_DIR / FILE
    unfinished = target.with_suffix(".unfinished")
    try:
        unfinished.write_text(json.dumps(asdict(found)), encoding="utf-8")
        unfinished.replace(target)
    except OSError as error:
        log.warning("What came of the sign of life could not be kept: %s", error.strerror)


def start(stopped: threading.Event) -> threading.Thread | None:
    """Send signs of life from a thread of its own until ``stopped``; nothing without an address."""
    if not settings.HEARTBEAT_URL:
        return None
    thread = threading.Thread(target=_go_on, args=(stopped,), name="sign of life", daemon=True)
    thread.start()
    return thread


def pause_s(at: datetime) -> float:
    """Return how long to wait for the next one, in s: a runner that begins anew goes on where the last one was.

    At least so long that a runner that has just begun is seen to be alive.
    """
    whole, tried_at = settings.HEARTBEAT_MIN * 60.0, standing().tried_at
    gone = (at - datetime.fromisoformat(tried_at)).total_seconds() if tried_at else whole
    return max(min(whole, SETTLE_S), whole - gone if gone >= 0 else 0.0)


def _go_on(stopped: threading.Event) -> None:
    while not stopped.wait(pause_s(events.now())):
        try:
            found = send(events.now())
        except Exception:  # a thread that ends would end the signs of life without a word
            log.exception("No sign of life could be sent; it is tried again in %s min.", settings.HEARTBEAT_MIN)
        else:
            if found.failures == 1:
                log.warning("The sign of life did not get out: %s.", found.error)
        connection.close()
