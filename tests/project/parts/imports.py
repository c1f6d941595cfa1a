"""Imports: the page of one that a job takes in."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.imports.taking import Asked, Way, ask
from facility.models import Site
from tests import make

PAGES = {"imports:taking": Act.IMPORT}


def rows(site: Site) -> dict[str, Any]:
    """Return a job that a supervisor asked for; others who may import do not find it."""
    job = ask(Asked("0" * 32, Way.ALL, make.supervisor(site).pk, site.pk))
    return {"imports:taking": {"number": job.pk}}
