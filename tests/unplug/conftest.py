"""A small facility in a database file of its own, on which Django works here as a server does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.management import call_command
from django.db import connections
from django.test import Client

from facility.models import SiteRole
from tests import make
from tests.facility.events import store
from tests.unplug.box import Box

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pytest_django import DjangoDbBlocker

OWN = Path(__file__).parent.parent / "data" / "own_facility"


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> store.Store:
    return store.make_sqlite(tmp_path_factory.mktemp("unplug") / "template")


@pytest.fixture
def box(template: store.Store, tmp_path: Path, settings: Any, django_db_blocker: DjangoDbBlocker) -> Iterator[Box]:
    """A box with one facility, and somebody who may do everything there."""
    made = store.copy_sqlite(template, tmp_path / "store")
    settings.DATA_DIR, settings.EVIDENCE_DIR = made.folder, made.folder / "evidence"
    settings.BACKUP_COPIES, settings.BACKUP_COMMAND, settings.DEMO = [], "", False
    before = connections["default"]
    with django_db_blocker.unblock():
        made.enter()
        try:
            call_command("import_facility", str(OWN), verbosity=0)
            person = make.user(None, is_superuser=True)
            make.user(None, SiteRole.DIRECTOR)
            client = Client(raise_request_exception=False)
            client.force_login(person, "django.contrib.auth.backends.ModelBackend")
            yield Box(made, client)
        finally:
            connections["default"].close()
            connections["default"] = before
