"""Visits: what was found, answered and closed. Common practice, no source: findings have a due day and an answer with proof."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from facility import services
from facility.models import Event, FindingAnswer, Inspection, Site, SiteRole, VisitFinding
from facility.visits import services as keeping
from tests import make

pytestmark = pytest.mark.django_db
VISITED = date(2026, 3, 2)


def finding(at: Site | None = None, **fields: object) -> VisitFinding:
    """Return a stored finding of a visit of 2 March 2026, due 1 April."""
    visit = Inspection(site=at or make.site(), visited_on=VISITED, inspector="Ada Test")
    keeping.record_visit(visit, date(2026, 3, 3), by=make.BY)
    row = VisitFinding(**{"inspection": visit, "text": "No sign.", "due_on": date(2026, 4, 1)} | fields)
    return keeping.add_finding(row, by=make.BY)


def client_of(at: Site, role: str) -> Client:
    client = Client()
    client.force_login(make.user(at, role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_findings_of_a_visit_are_numbered_in_order() -> None:
    first = finding()
    second = keeping.add_finding(
        VisitFinding(inspection=first.inspection, text="Door bare.", due_on=date(2026, 4, 1)), by=make.BY
    )
    assert (first.number, second.number) == (1, 2)


def test_an_answer_cannot_be_due_before_the_visit() -> None:
    with pytest.raises(ValidationError, match="2 Mar 2026"):
        finding(due_on=VISITED - timedelta(days=1))


def test_a_visit_that_lies_ahead_is_refused() -> None:
    with pytest.raises(ValidationError, match="lies ahead"):
        keeping.record_visit(
            Inspection(site=make.site(), visited_on=date(2026, 3, 4), inspector="Ada"), date(2026, 3, 3), by=make.BY
        )


def test_nothing_is_closed_before_it_was_answered() -> None:
    with pytest.raises(ValidationError, match="Nothing was answered"):
        keeping.close(finding(), on=VISITED, closed_by="Ada Test", note="", by=make.BY)


def test_a_finding_answered_and_closed_keeps_who_when_and_their_words() -> None:
    row = finding()
    keeping.answer(FindingAnswer(finding=row, text="Sign hung at the door."), by=make.BY)
    keeping.close(row, on=date(2026, 3, 20), closed_by="Ada Test", note="Seen.", by=make.BY)
    row.refresh_from_db()
    assert (row.closed_on, row.closed_by, row.closed_note) == (date(2026, 3, 20), "Ada Test", "Seen.")
    told = Event.objects.filter(subject_kind="facility.visitfinding").values_list("action", flat=True)
    assert list(told) == ["finding recorded", "finding closed"]
    with pytest.raises(ValidationError, match="was closed on 20 Mar 2026"):
        keeping.answer(FindingAnswer(finding=row, text="More."), by=make.BY)


@pytest.mark.parametrize("on", [VISITED - timedelta(days=1), date(2199, 1, 1)])
def test_it_is_closed_between_the_visit_and_today(on: date) -> None:
    row = finding()
    keeping.answer(FindingAnswer(finding=row, text="Done."), by=make.BY)
    with pytest.raises(ValidationError, match="is not between the visit, 2 Mar 2026, and today"):
        keeping.close(row, on=on, closed_by="Ada Test", note="", by=make.BY)


def test_the_event_that_proves_it_must_be_in_the_log_of_the_site() -> None:
    row = finding()
    others = services.add(Inspection(site=make.site(), visited_on=VISITED, inspector="Bo"), by=make.BY)
    foreign = Event.objects.get(subject_kind="facility.inspection", subject_id=others.pk)
    with pytest.raises(ValidationError, match=f"no event {foreign.seq} in the log of this site"):
        keeping.answer(FindingAnswer(finding=row, text="See there.", of_event=foreign.seq), by=make.BY)
    own = Event.objects.filter(site_id_text=row.inspection.site.key).latest("seq")
    assert keeping.answer(FindingAnswer(finding=row, text="See there.", of_event=own.seq), by=make.BY).pk


def test_the_list_says_what_is_overdue_and_the_page_takes_answer_and_closing() -> None:
    row = finding()
    site = row.inspection.site
    client = client_of(site, SiteRole.SUPERVISOR)
    listed = client.get(reverse("visits:visits", args=[site.key])).content.decode()
    assert "overdue" in listed
    page = reverse("visits:finding", args=[site.key, row.pk])
    assert "overdue since 1 Apr 2026" in client.get(page).content.decode()
    assert client.post(page, {"text": "Sign hung."}).status_code == 302
    for told in (client.get(page), client.get(reverse("visits:visits", args=[site.key]))):
        assert "answered, not closed" in told.content.decode()
        assert "overdue" not in told.content.decode()
    closing = reverse("visits:close_finding", args=[site.key, row.pk])
    refused = client.post(
        closing, {"closed_on": "31 Feb 2026", "closed_by": "Ada Test", "closed_note": "Seen it myself."}
    )
    assert refused.status_code == 422
    assert "Seen it myself." in refused.content.decode()
    assert client.post(closing, {"closed_on": "10 Mar 2026", "closed_by": "Ada Test"}).status_code == 302
    assert "closed" in client.get(page).content.decode()


def test_an_inspectors_account_reads_and_cannot_answer() -> None:
    row = finding()
    client = client_of(row.inspection.site, SiteRole.INSPECTOR)
    page = reverse("visits:finding", args=[row.inspection.site.key, row.pk])
    assert client.get(page).status_code == 200
    assert client.post(page, {"text": "Done."}).status_code == 403
    assert not FindingAnswer.objects.exists()


def test_hostile_words_are_only_words_on_the_page() -> None:
    row = finding(text="<script>alert(1)</script>", clause='"><img src=x>')
    client = client_of(row.inspection.site, SiteRole.SUPERVISOR)
    shown = client.get(reverse("visits:finding", args=[row.inspection.site.key, row.pk])).content.decode()
    assert "<script>alert(1)" not in shown
    assert "<img src=x>" not in shown
    assert "&lt;script&gt;alert(1)" in shown, "the words themselves are there to be read"
