"""Addresses that ask for what cannot be: answered like any other page that does not exist, on either database."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.http import Http404

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from django.http import HttpRequest, HttpResponse

LARGEST: Final = 2**63 - 1
"""No row has a larger number: both databases keep numbers in 64 bits with a sign."""
MOST_DIGITS: Final = len(str(LARGEST))
SEARCHED: Final = "q"
"""Under this name an address carries words to look for, which may be long figures."""


class Possible:
    """Refuse NUL, which PostgreSQL stores nowhere, and numbers that no row can have, before a view asks for them."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer as always."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, _view: Any, _args: Any, kwargs: dict[str, Any]) -> None:
        """Look at the parts of the address. Errors: Http404."""
        for name, value in (*kwargs.items(), *_asked(request)):
            if isinstance(value, int):
                cannot_be = value > LARGEST
            else:
                long = name != SEARCHED and len(value) >= MOST_DIGITS and value.isdecimal()
                cannot_be = "\0" in value or (long and (len(value) > MOST_DIGITS or int(value) > LARGEST))
            if cannot_be:
                raise Http404


def _asked(request: HttpRequest) -> Iterator[tuple[str, str]]:
    if request.META.get("QUERY_STRING"):
        for name, values in request.GET.lists():
            yield "", name
            for value in values:
                yield name, value
