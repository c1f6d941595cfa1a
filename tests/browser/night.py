"""A night on the demo: its clock, what went before, and what a supervisor does on a phone in red light.

The demo is loaded as of its own today, 12 Feb 2026, and the clock of the box and of the phone stands at 03:00 in its
zone (Europe/Oslo, UTC + 1 h in February). Before that night one gauge was found broken and one tender was inside.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.urls import reverse
from playwright.sync_api import expect

from facility import events, services
from facility.accounts.demo import DEMO_PASSWORD
from facility.models import Person, Site
from maintenance.models import Defect, Equipment
from treatments.models import Plan, Purpose, Run, RunRole
from treatments.opening.places import NewPlace
from treatments.opening.services import Opening, Start, end_run, start_run

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

PHONE = {"width": 390, "height": 844}
HOUR = timedelta(hours=1)
THREE = datetime(2026, 2, 12, 2, 0, tzinfo=UTC)  # 03:00 at the site
BEFORE = events.system("test")


def at(clock: str, day: int = 12) -> datetime:
    """Return the instant at which the site's clock shows this on a day of February 2026."""
    hours, minutes = clock.split(":")
    return datetime(2026, 2, day, int(hours), int(minutes), tzinfo=UTC) - HOUR


@dataclass
class Night:
    """The site, a phone signed in as somebody, and the clock of both."""

    site: Site
    page: Page
    at: datetime = THREE
    seen: list[str] = field(default_factory=list)

    def clock(self, shows: str, day: int = 12) -> None:
        """Let it be later, at the box and on the phone."""
        self.at = at(shows, day)
        self.page.clock.set_system_time(self.at)

    def go(self, name: str, *keys: Any) -> str:
        """Open a page of the site and return its words."""
        self.page.goto(reverse(name, args=[self.site.key, *keys]))
        return self.words()

    def words(self) -> str:
        """Return the words of the page in one line; on the phone none may stand outside its width."""
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), self.page.url
        assert self.page.locator("html").get_attribute("data-mode") == "night"
        return " ".join(self.page.locator("main").inner_text().split())

    def plate(self, table: str) -> str:
        """Return what the Now page says of one table, in one line."""
        rows: Locator = self.page.locator("a.plate").filter(has=self.page.get_by_text(table, exact=True))
        return " ".join(rows.inner_text().split())

    def sign_in(self, name: str) -> None:
        """Sign in to the demo with red light."""
        page = self.page
        page.goto(reverse("accounts:login"))
        page.fill("[name=username]", name)
        page.fill("[name=password]", DEMO_PASSWORD)
        page.press("[name=password]", "Enter")
        page.wait_for_url("**/now/**")
        if page.locator("html").get_attribute("data-mode") != "night":
            page.locator("button[name=light][value=night]").first.evaluate("button => button.click()")
            expect(page.locator("html")).to_have_attribute("data-mode", "night")

    def person(self, key: str) -> Person:
        """Return one of the crew of the demo."""
        return Person.objects.get(site=self.site, key=key)

    def answers(self) -> dict[str, Any]:
        """Return what programs are told of each plan, by its name."""
        found = self.page.request.get(reverse("readiness:api", args=[self.site.key])).json()
        return {one["plan"]: one for one in found["plans"]}


def gauge_broken(site: Site) -> None:
    """At 23:40 the only gauge of the inner lock's depth that was in date is taken out."""
    gauge = Equipment.objects.get(site=site, tag="IL-D1")
    services.add(
        Defect(site=site, number=11, equipment=gauge, what="glass cracked", effect="stops", found_at=at("23:40", 11)),
        by=BEFORE,
    )


def tender_inside(site: Site) -> Run:
    """Eirik Mork was inside a run on Table 9 that reached surface at 18:15; its plan owes him 720 min."""
    plan = Plan.objects.get(chamber__site=site, key="table-9", retired_at=None)
    tender = NewPlace(RunRole.TENDER, Person.objects.get(site=site, key="e-mork"))
    opening = Opening(plan, Purpose.TREATMENT, "Karin Lindqvist", people=(tender,))
    run = start_run(opening, Start(at("16:20", 11), "Table 9: Ready", ready=True), by=BEFORE)
    return end_run(run, at("18:15", 11), BEFORE)


def submit(page: Page, button: str) -> None:
    """Press a button of the page's own form and wait for what follows."""
    page.locator("main").get_by_role("button", name=button, exact=True).click()
    page.wait_for_load_state()
