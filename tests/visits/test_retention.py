"""How long records are kept. The years are house rules; 29 CFR 1910.440(b) is named beside those that follow it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from facility import record_check, services
from facility.models import SiteRole
from facility.visits.retention import identities, kinds, years_before
from tests import make
from tests.treatments.recording.support import run_on
from tests.visits.test_findings import client_of
from treatments.models import Patient, RunPlace
from treatments.opening.patients import add_patient, erase_patient

pytestmark = pytest.mark.django_db


def patient_of(started: datetime) -> Patient:
    """Return a patient with one run."""
    run = run_on(started_at=started, ended_at=started)
    patient = add_patient(Patient(site=run.chamber.site, name="Marker Name", number="MARKER"), by=make.BY)
    services.add(RunPlace(run=run, role="patient", label="patient 1", patient=patient, inside=True), by=make.BY)
    return patient


@pytest.mark.parametrize(
    ("started", "past"), [(datetime(2016, 3, 11, 12, tzinfo=UTC), True), (datetime(2016, 3, 12, 12, tzinfo=UTC), False)]
)
def test_an_identity_is_past_its_time_ten_years_after_the_last_run(started: datetime, *, past: bool) -> None:
    patient = patient_of(started)
    assert [one.patient for one in identities(patient.site, make.DAY)] == ([patient] if past else [])


def test_erasing_it_leaves_the_log_whole_and_the_list_empty() -> None:
    patient = patient_of(datetime(2010, 1, 1, tzinfo=UTC))
    erase_patient(patient, reason="time is over", shown_version=patient.row_version, by=make.BY)
    assert identities(patient.site, make.DAY) == []
    assert record_check.verify_and_record(by=make.BY).ok
    assert not Patient.objects.filter(name__contains="Marker").exists()


def test_each_kind_says_its_rule_and_its_oldest_record() -> None:
    patient = patient_of(datetime(2010, 1, 1, tzinfo=UTC))
    runs = next(kind for kind in kinds(patient.site, make.DAY) if kind.rule == "keep_run_years")
    assert (runs.years, runs.oldest, runs.kept_from, runs.reaches_back) == (
        5,
        date(2010, 1, 1),
        date(2021, 3, 12),
        True,
    )


def test_the_29th_of_february_has_no_year_to_fall_into() -> None:
    assert years_before(date(2024, 2, 29), 5) == date(2019, 2, 28)
    assert years_before(date(2024, 3, 1), 1) == date(2023, 3, 1)


def test_an_inspector_reads_how_many_and_not_who() -> None:
    patient = patient_of(datetime(2010, 1, 1, tzinfo=UTC))
    page = reverse("visits:retention", args=[patient.site.key])
    shown = client_of(patient.site, SiteRole.INSPECTOR).get(page).content.decode()
    assert "1 identity is past its time" in shown
    assert reverse("treatments:patient", args=[patient.site.key, patient.pk]) not in shown
    assert "Marker" not in client_of(patient.site, SiteRole.DIRECTOR).get(page).content.decode()
