"""Closing the record: exposures against the handbook's own figures, and what a correction does afterwards."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from facility import __version__, services
from facility.models import Event, SiteRole
from tests import make
from tests.treatments.after.support import closed, operator, sign_as, whole_six
from tests.treatments.recording.support import entry, run_on, signed_in
from treatments.models import Exposure, LogEntry, LogKind, Run

pytestmark = pytest.mark.django_db


def test_the_exposure_of_a_whole_table_six_is_that_of_the_handbook() -> None:
    """Handbook 6.2: 644.54 UPTD of the patient, 142.56 of the tender with air at 60 fsw; 240 and 60 min of oxygen."""
    whole = closed(whole_six())
    patient, tender = (Exposure.objects.get(occupant=one, retired_at=None) for one in (whole.patient, whole.tender))
    assert [patient.minutes, patient.oxygen_min, patient.deepest_fsw] == [288, 240, 60]
    assert float(patient.uptd or 0) == pytest.approx(644.54, abs=0.01)
    assert float(tender.uptd or 0) == pytest.approx(142.56, abs=0.01)
    assert [tender.minutes, tender.oxygen_min, tender.oxygen_owed_min] == [288, 60, 60]
    assert patient.cns_fraction is None  # 2.8 ata lies outside the table of limits
    assert [patient.person, tender.person] == [None, whole.tender_person]
    assert tender.ends_at - tender.starts_at == timedelta(minutes=288)


def test_the_figures_are_kept_as_on_that_day_with_the_version() -> None:
    whole = closed(whole_six())
    run = Run.objects.get(pk=whole.run.pk)
    assert run.closed_at is not None
    assert run.computed["software"] == __version__
    assert run.computed["figures"]["conformity"]["found"] == []
    assert any("not read" in line or "names no bank" in line for line in run.computed["left_open"])
    assert not whole.record.changed
    assert not whole.record.figures_differ


def test_a_correction_after_closing_shows_until_it_is_closed_anew_with_a_reason() -> None:
    whole = closed(whole_six())
    services.retire(
        LogEntry.objects.get(run=whole.run, kind=LogKind.OXYGEN_ON, occupant=whole.tender),
        by=make.BY,
        reason="was never on",
    )
    stale = whole.record
    assert stale.changed
    client = operator(whole)
    assert "Changed since it was closed" in client.get(whole.page("after_run")).content.decode()
    assert client.post(whole.page("after_run")).status_code == 422
    assert client.post(whole.page("after_run"), {"reason": "log corrected"}).status_code == 302
    assert not whole.record.changed
    old, new = Exposure.objects.filter(occupant=whole.tender).order_by("id")
    assert (old.is_current, new.supersedes, new.oxygen_min) == (False, old, Decimal(0))
    assert Exposure.objects.filter(occupant=whole.patient).count() == 1
    assert Event.objects.filter(action="record computed anew", reason="log corrected").exists()


def test_a_run_that_is_on_is_not_closed() -> None:
    run = run_on(ended_at=None)
    client = signed_in(make.user(run.chamber.site, SiteRole.OPERATOR))
    page = reverse("treatments:after_run", args=[run.chamber.site.key, run.pk])
    assert client.get(page).status_code == 302
    assert client.post(page).status_code == 302
    assert Run.objects.get(pk=run.pk).closed_at is None


def test_what_is_owed_and_what_departed_stands_on_the_page() -> None:
    """The stop at 60 fsw left 10 min early: 65 instead of 75 min by the handbook."""
    whole = whole_six()
    early = LogEntry.objects.get(run=whole.run, kind=LogKind.LEFT_DEPTH)
    services.supersede(
        early,
        LogEntry(
            run=whole.run,
            kind=LogKind.LEFT_DEPTH,
            occurred_at=make.NOON + timedelta(minutes=68),
            depth=Decimal(60),
            depth_unit="fsw",
        ),
        by=make.BY,
        reason="misread clock",
    )
    entry(whole.run, LogKind.NOTE, 100, remark="hatch squeaks", late=True)
    page = operator(whole).get(whole.page("after_run")).content.decode()
    assert "short stop" in page
    assert "1 entered late, 1 corrected" in page
    assert "Screening of patient 1" in page
    assert "not screened" in page
    assert "Cleaning and readying" in page


@pytest.mark.parametrize(
    ("role", "status"), [(SiteRole.TENDER, 403), (SiteRole.PHYSICIAN, 403), (SiteRole.OPERATOR, 302)]
)
def test_only_who_runs_the_chamber_closes_a_record(role: SiteRole, status: int) -> None:
    whole = whole_six()
    client = signed_in(make.user(whole.run.chamber.site, role))
    assert client.get(whole.page("after_run")).status_code == 200
    assert client.post(whole.page("after_run")).status_code == status


def test_the_page_asks_no_more_of_the_database_when_the_log_is_longer() -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    whole = closed(whole_six())
    client = operator(whole)
    counts = []
    for more in (0, 40):
        for minute in range(more):
            entry(whole.run, LogKind.NOTE, 60 + minute, remark=f"note {minute}")
        with CaptureQueriesContext(connection) as asked:
            assert client.get(whole.page("after_run")).status_code == 200
        counts.append(len(asked))
    assert counts[1] <= counts[0]


def test_a_signed_run_has_no_open_signature_left() -> None:
    whole = closed(whole_six())
    assert sign_as(whole, SiteRole.OPERATOR, "supervisor").status_code == 302
    assert sign_as(whole, SiteRole.PHYSICIAN, "physician").status_code == 302
    assert "not signed" not in operator(whole).get(whole.page("after_run")).content.decode()
