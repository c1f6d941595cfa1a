"""Visits, findings, reading links and trails."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from facility import events, services
from facility.access import Act
from facility.models import Inspection, ReadingLink, Site, VisitFinding
from facility.visits.services import open_door
from maintenance.models import Equipment
from tests import make
from tests.maintenance.calibrating import support

PAGES = {
    "visits:visits": Act.SEE, "visits:record_visit": Act.PACK, "visits:visit": Act.SEE, "visits:finding": Act.SEE,
    "visits:close_finding": Act.PACK, "visits:links": Act.PACK, "visits:revoke_link": Act.PACK, "visits:day": Act.SEE,
    "visits:since": Act.SEE, "visits:retention": Act.SEE, "visits:person": Act.SEE,
}  # fmt: skip
SENDING = {"visits:visit": Act.PACK, "visits:finding": Act.PACK}
OPEN = {"visits:look", "visits:look_day", "visits:look_item", "visits:look_certificate", "visits:look_person"}


def rows(site: Site) -> dict[str, Any]:
    """Return a visit with a finding, and a link with its secret."""
    visit = services.add(Inspection(site=site, visited_on=date(2026, 3, 2), inspector="Ada Test"), by=make.BY)
    finding = VisitFinding(inspection=visit, number=1, text="No sign at the door.", due_on=date(2026, 4, 1))
    services.add(finding, by=make.BY)
    now = events.now()
    link, secret = open_door(
        ReadingLink(site=site, name="Ada Test", opens_at=now, ends_at=now + timedelta(days=3)), by=make.BY
    )
    person = site.people.all()[0]
    certificate = support.certificate(support.reference(site))
    own = {"secret": secret}
    return {
        "visits:visit": visit, "visits:finding": finding, "visits:close_finding": finding, "visits:revoke_link": link,
        "visits:person": person, "visits:look": own, "visits:look_day": own,
        "visits:look_item": own | {"pk": Equipment.objects.filter(site=site)[0].pk},
        "visits:look_certificate": own | {"pk": certificate.pk}, "visits:look_person": own | {"pk": person.pk},
    }  # fmt: skip
