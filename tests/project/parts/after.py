"""After a run: its record, signatures, papers, and the ledger of a person."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import Site
from treatments.models import Run

PAGES = {
    "treatments:after_run": Act.SEE, "treatments:sign_run": Act.SEE, "treatments:treatment_record": Act.SEE,
    "treatments:exposures": Act.MEDICAL, "treatments:personal_log": Act.MEDICAL,
}  # fmt: skip
SENDING = {
    "treatments:after_run": Act.RUN, "treatments:sign_run": Act.SIGN, "treatments:treatment_record": Act.PATIENT,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    run, person = Run.objects.filter(chamber__site=site, ended_at__isnull=False)[0], site.people.all()[0]
    pages = {f"treatments:{name}": run for name in ("after_run", "sign_run", "treatment_record")}
    return pages | {"treatments:exposures": person, "treatments:personal_log": person}
