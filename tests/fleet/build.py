"""A small organisation: three sites, one chamber each; who looks at its page, and what stands there."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

from django.test import Client

from facility import services
from facility.models import Chamber, Membership, Organisation, SiteRole
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Site, User

T = build.T
PAGE = "/organisation/"


def chamber(organisation: Organisation | None = None, *, table: str = "Table 6", **fields: str) -> Chamber:
    """Return a chamber of a site of its own, with one plan that rests on a gauge calibrated through October 2027."""
    place = make.site(organisation=organisation, zone="UTC", **fields)
    found = make.chamber(place, key="chamber-1", name="Chamber 1")
    gauge = build.need(found, "depth", build.good_gauge(found), name="Depth gauge")
    build.plan(found, "tt6", gauge, name=table, margin_min=0)
    return found


def three() -> list[Chamber]:
    """Return the chambers of three sites of one organisation."""
    organisation = make.organisation(name="Northern chambers")
    return [chamber(organisation, key=key, name=key.capitalize()) for key in ("alna", "bekk", "dokka")]


def after(minutes: float) -> datetime:
    """Return an instant so many minutes after that of the worked example."""
    return T + timedelta(minutes=minutes)


def many(number: int) -> list[Chamber]:
    """Return the chambers of more sites than a page reckons by itself."""
    organisation = make.organisation()
    return [chamber(organisation, key=f"s-{n:02}", name=f"Site {n:02}") for n in range(number)]


def account(*sites: Site, role: str = SiteRole.TENDER) -> Client:
    """Return a client in which somebody with a role at these sites is signed in."""
    person = make.user()
    for site in sites:
        services.add(Membership(user=person, site=site, role=role), by=make.BY)
    return signed_in(person)


def signed_in(person: User) -> Client:
    """Return a client in which an account is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def first_account() -> Client:
    """Return a client in which a first account is signed in."""
    return signed_in(make.user(is_superuser=True))


def shown(client: Client, query: str = "") -> str:
    """Return the page's text: tags off, blanks joined."""
    answer = client.get(f"{PAGE}{query}")
    assert answer.status_code == 200
    main = answer.content.decode().split("<main", 1)[1].split("</main>", 1)[0]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


def words(client: Client, query: str = "") -> list[tuple[str, str]]:
    """Return site and state word of each row."""
    html = client.get(f"{PAGE}{query}").content.decode()
    return list(
        zip(re.findall(r"<b>([^<]+)</b>, ", html), re.findall(r'class="word [^"]*">([^<]+)<', html), strict=True)
    )
