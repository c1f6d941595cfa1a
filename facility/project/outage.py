"""The answer when something under the box fails: plain words and 503 where waiting helps, 500 where it does not."""

from __future__ import annotations

import errno
import sys
from typing import TYPE_CHECKING, Final

from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import InterfaceError, OperationalError
from django.http import HttpResponse, JsonResponse
from django.template import loader
from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from django.http import HttpRequest

UNAVAILABLE: Final = 503
FAULT: Final = 500
BAD: Final = 400
AGAIN_S: Final = "15"
FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS})
#: as SQLite and PostgreSQL say it
FULL_WORDS: Final = ("database or disk is full", "disk I/O error", "No space left on device", "could not extend file")


def not_understood(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that is no request of a page, without reading its form again: that may be what cannot be read."""
    words = _("This request could not be understood. Load the page again and send it once more.")
    return HttpResponse(f"{words}\n", status=BAD, content_type="text/plain; charset=utf-8")


def failed(request: HttpRequest) -> HttpResponse:
    """Answer a request that ended in an error. The log has the error; the page has no part of it."""
    error = sys.exc_info()[1]
    words = words_for(error)
    if not words:
        return HttpResponse(loader.get_template("500.html").render(), status=FAULT)
    headers = {"Retry-After": AGAIN_S, "Cache-Control": "no-store"}
    if "application/json" in request.headers.get("Accept", "") or request.path.endswith(".json"):
        return JsonResponse({"error": words}, status=UNAVAILABLE, headers=headers)
    page = loader.get_template("503.html").render({"words": words})
    return HttpResponse(page, status=UNAVAILABLE, headers=headers)


def words_for(error: BaseException | None) -> str:
    """Return what has failed under the box and what to do, or nothing if the fault is the program's own."""
    full = isinstance(error, OSError) and error.errno in FULL
    if isinstance(error, OperationalError | InterfaceError):
        full = any(word in str(error) for word in FULL_WORDS)
        if not full:
            return _("The box cannot reach its records just now, or another program holds them.")
    if full:
        return _("The box has no room left on its disk, or may not write there: nothing new can be stored.")
    return ""


class Sessions(SessionMiddleware):
    """Sessions whose note of being seen may fail: what could be read is shown, though nothing can be written just now."""

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Store the session if it changed; a look goes on without that, an act does not."""
        try:
            return super().process_response(request, response)
        except SessionInterrupted as error:
            failure = cause_of(error)
            if failure is None:
                raise
            if request.method in ("GET", "HEAD"):
                return response
            raise failure from error


def cause_of(error: BaseException) -> OperationalError | InterfaceError | None:
    """Return what the database said, if that is why a session could not be stored."""
    found: BaseException | None = error
    while found is not None and not isinstance(found, OperationalError | InterfaceError):
        found = found.__context__
    return found
