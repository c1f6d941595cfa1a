"""Stored files of these tests go to a folder of their own; signed-in clients by role."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from django.test import Client

from tests import make
from tests.walk.walking import World, world

if TYPE_CHECKING:
    from pathlib import Path

    from django.conf import LazySettings


@pytest.fixture(autouse=True)
def evidence_dir(tmp_path: Path, settings: LazySettings) -> Path:
    """Keep uploads of a test apart."""
    settings.EVIDENCE_DIR = tmp_path / "evidence"
    return tmp_path / "evidence"


@pytest.fixture
def w(db: None) -> World:
    """A site with a sheet, a supervisor and a second person."""
    return world()


def client_of(w: World, role: str | None) -> Client:
    """Return a client signed in with one role at the site, or nobody."""
    client = Client()
    if role is not None:
        client.force_login(make.user(w.site, role))
    return client
