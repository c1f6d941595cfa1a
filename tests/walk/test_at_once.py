"""Two people at the same moment, each with a connection of their own."""

from __future__ import annotations

import threading
import uuid
from typing import TYPE_CHECKING, Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from facility.compute.sheets import Typed
from facility.models import Answer, Check, Signature
from facility.walk import services
from facility.walk.services import AlreadySignedError
from tests import make
from tests.walk.walking import all_good, begin, give, page_of, sign, world

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


@pytest.fixture(autouse=True)
def _a_server() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("the tests' SQLite lives in memory and lets one connection write; two at once need the server")


def together(act: Callable[[], Any], times: int = 6) -> list[Any]:
    """Do the same at once in several threads; return what each got or was refused with."""
    start, results = threading.Barrier(times), []

    def run() -> None:
        try:
            start.wait()
            results.append(act())
        except ValidationError as error:
            results.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(times)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_of_many_who_sign_at_once_one_signs_and_the_others_hear_who() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    shown = page_of(w, check)
    results = together(lambda: sign(w, check, shown))
    assert sum(isinstance(result, AlreadySignedError) for result in results) == 5
    assert Signature.objects.count() == 1


def test_of_many_who_begin_at_once_all_walk_the_same_check() -> None:
    w = world()
    results = together(lambda: services.start(w.sheet, by=w.by)[0].pk)
    assert len(set(results)) == 1
    assert Check.objects.count() == 1


def test_checks_of_two_sheets_begun_at_once_have_two_numbers() -> None:
    w = world()
    sheets = [make.sheet(w.sheet.chamber) for _ in range(6)]
    together(lambda: services.start(sheets.pop(), by=w.by))
    assert sorted(Check.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5, 6]


def test_one_entry_sent_many_times_at_once_is_stored_once() -> None:
    w = world()
    check = begin(w)
    key = uuid.uuid4()
    results = together(lambda: give(w, check, "supply", Typed(value="8.1"), client_id=key).entry)
    assert len(set(results)) == 1
    assert Answer.objects.count() == 1
