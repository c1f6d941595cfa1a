"""Builders and typed forms for work, defects and their way back."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.test import Client

from facility.models import Site
from maintenance.models import Defect, Repair, WorkKind, WorkRecord
from maintenance.services import add_repair, raise_defect, record_work
from tests import make

HOUR = timedelta(hours=1)


def signed_in(user: Any) -> Client:
    """Return a client in which an account is signed in."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def defect(site: Site, **fields: Any) -> Defect:
    """Return a stored defect that takes a gauge out of service, found at noon."""
    if "bank" not in fields and "equipment" not in fields:
        fields["equipment"] = make.equipment(site)
    row = Defect(**{"site": site, "what": "reads high", "effect": "stops", "found_at": make.NOON} | fields)
    return raise_defect(row, by=make.BY)


def repaired(of: Defect, **fields: Any) -> Repair:
    """Return a stored repair, made an hour after the defect was found."""
    defaults = {"defect": of, "done_at": of.found_at + HOUR, "done_by": "R. Fitter", "what": "New seal fitted."}
    return add_repair(Repair(**defaults | fields), by=make.BY)


def return_test(of: Defect, **fields: Any) -> WorkRecord:
    """Return a stored return-to-service test that passed on the day of the defect."""
    defaults = {
        "equipment": of.equipment, "kind": WorkKind.RETURN_TEST, "done_on": make.DAY, "result": "passed",
        "done_by": "Ina Test", "details": {"tag": of.number},
    }  # fmt: skip
    return record_work(WorkRecord(**defaults | fields), by=make.BY)


def typed_work(kind: str, **fields: Any) -> dict[str, Any]:
    """Return what everybody types on the form of a sort of work, with what that sort asks for in ``fields``."""
    return {"done_on": "12 Mar 2026", "done_by": "Ina Test", **fields}
