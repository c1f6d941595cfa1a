"""Two runners that have the same import at the same moment, each with a connection of its own: one effect."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection

from facility.imports import taking
from facility.models import Event, Person
from tests import make
from tests.imports.support import asked_for
from tests.walk.test_at_once import together

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


@pytest.fixture(autouse=True)
def _a_server(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    if connection.vendor != "postgresql":
        pytest.skip("the tests' SQLite lives in memory and lets one connection write; two at once need the server")


def test_an_import_that_two_runners_have_at_once_is_stored_once() -> None:
    site = make.site()
    lines = b"".join(b"p-%d,P %d\n" % (number, number) for number in range(20))
    asked = asked_for(b"key,name\n" + lines, make.supervisor(site), site)
    taking.ask(asked)
    results = together(lambda: taking.run(asked, str), times=3)
    assert results == ["All rows were taken."] * 3
    assert (Person.objects.count(), Event.objects.filter(action="imported").count()) == (20, 20)
