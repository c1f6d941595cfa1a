"""What the program writes to its log: one line a request, and faults; never what people typed.

A log leaves the box more easily than a record: it is copied into reports and sent to helpers. So it holds no query, no
body, no name, and no message of an error, which may repeat a value; the sort of the error and the lines that led to it
are kept. With DEEPSTEAD_DEBUG, on a developer's machine, messages are kept too.
"""

from __future__ import annotations

import json
import logging
import secrets
import time
import traceback
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from django.conf import settings
from django.db import IntegrityError, InterfaceError, OperationalError

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

OWN: Final = ("facility", "maintenance", "treatments")
REQUESTS: Final = "facility.requests"
HEADER: Final = "X-Request-Id"
WITHHELD: Final = "(withheld)"
MOST_FRAMES: Final = 30
FIELDS: Final = ("method", "route", "site", "status", "ms", "account")
_request_id: ContextVar[str] = ContextVar("request_id", default="")


class Withheld:
    """Stands for a value that does not go into the log."""

    def __str__(self) -> str:
        return WITHHELD

    __repr__ = __str__


def words_of(error: BaseException) -> str:
    """Return the sort of an error, with its words where they are the system's own and repeat nothing typed.

    An error of the database tells the row's values in its later lines, so only the first is kept.
    """
    name = type(error).__name__
    if settings.DEBUG:
        return f"{name}: {error}"
    if isinstance(error, OperationalError | InterfaceError | IntegrityError):
        return f"{name}: {(str(error).splitlines() or [''])[0]}"
    if isinstance(error, OSError) and error.strerror:
        return f"{name}: {error.strerror}"
    return name


def message_of(record: logging.LogRecord) -> str:
    """Return a record's message without what others put into it: texts of libraries, paths, words of errors."""
    request = getattr(record, "request", None)
    if request is not None and record.name.startswith("django."):
        reason = record.args[0] if isinstance(record.args, tuple) and record.args else ""
        return f"{str(reason).partition(' - ')[0]}: {route_of(request)}"  # behind it stands what the browser sent
    own = record.name.split(".")[0] in OWN
    try:
        if isinstance(record.args, Mapping):
            return str(record.msg) % {name: kept(value, own=own) for name, value in record.args.items()}
        return (
            str(record.msg) % tuple(kept(value, own=own) for value in record.args or ())
            if record.args
            else str(record.msg)
        )
    except (LookupError, TypeError, ValueError):
        return str(record.msg)


def kept(value: object, *, own: bool) -> object:
    """Return what of an argument goes into the log: numbers, and texts that this program itself chose."""
    if isinstance(value, BaseException):
        return words_of(value)
    if own or settings.DEBUG or value is None or isinstance(value, int | float):
        return value
    return Withheld()


def lines_of(error: BaseException) -> list[str]:
    """Return an error and those behind it, each with the places in the program that led to it, the last one last."""
    found: list[str] = []
    seen: set[int] = set()
    one: BaseException | None = error
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        frames = traceback.extract_tb(one.__traceback__)[-MOST_FRAMES:]
        found[:0] = [*(f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames), words_of(one)]
        one = one.__cause__ or (None if one.__suppress_context__ else one.__context__)
    return found


def route_of(request: HttpRequest) -> str:
    """Return the address that was asked as the program writes it: addresses themselves may hold secrets."""
    match = getattr(request, "resolver_match", None)
    return f"/{match.route}" if match is not None else "(no such address)"


def number_of(record: logging.LogRecord) -> str:
    """Return the number of the request that a record belongs to, also one that Django writes after the answer."""
    return _request_id.get() or getattr(getattr(record, "request", None), "number", "")


class Plain(logging.Formatter):
    """One line a record, and one for each place that led to an error."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the record as text."""
        told = f"{record.levelname} {record.name}: {' '.join(message_of(record).splitlines())}"
        if number := number_of(record):
            told += f" [request {number}]"
        error = record.exc_info[1] if record.exc_info else None
        return "\n  ".join([told, *(lines_of(error) if error is not None else ())])


class Json(logging.Formatter):
    """One JSON object a line (RFC 8259)."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the record as JSON."""
        at = datetime.fromtimestamp(record.created, UTC)
        told: dict[str, object] = {
            "time": at.isoformat(timespec="milliseconds"), "level": record.levelname, "logger": record.name,
            "message": message_of(record),
        }  # fmt: skip
        if number := number_of(record):
            told["request_id"] = number
        told |= {name: getattr(record, name) for name in FIELDS if record.name == REQUESTS and hasattr(record, name)}
        error = record.exc_info[1] if record.exc_info else None
        if error is not None:
            told["error"] = lines_of(error)
        return json.dumps(told)


class Requests:
    """Numbers each request, tells the number in the answer, and logs one line for it. Static files have none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.log = logging.getLogger(REQUESTS)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer, and tell how it went."""
        number = secrets.token_hex(8)
        request.number = number  # type: ignore[attr-defined]  # read for the lines that Django writes
        token = _request_id.set(number)
        begun = time.perf_counter()
        try:
            response = self.get_response(request)
            response[HEADER] = number
            if not request.path.startswith(f"/{settings.STATIC_URL.strip('/')}/"):
                self._tell(request, response, round((time.perf_counter() - begun) * 1000, 1))
            return response
        finally:
            _request_id.reset(token)

    def _tell(self, request: HttpRequest, response: HttpResponse, ms: float) -> None:
        match, person = request.resolver_match, getattr(request, "_cached_user", None)
        told: dict[str, Any] = {
            "method": str(request.method), "route": route_of(request), "status": response.status_code, "ms": ms,
            "site": str(match.kwargs.get("site", "")) if match is not None else "", "account": getattr(person, "pk", None),
        }  # fmt: skip
        self.log.info("%(method)s %(route)s %(status)s %(ms)s ms, account %(account)s", told, extra=told)
