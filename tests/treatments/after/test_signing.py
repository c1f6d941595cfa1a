"""Signatures under the record of a run: bound to what was shown, void once it changed, never taken away."""

from __future__ import annotations

import hashlib
import json

import pytest

from facility import services
from facility.models import Event, SiteRole
from tests import make
from tests.treatments.after.support import CLINICAL, SECRET, closed, operator, sign_as, whole_six
from tests.treatments.recording.support import entry, signed_in
from treatments.after.record import LABEL
from treatments.after.signing import missing_of, signatures_of
from treatments.models import LogEntry, LogKind, RunSignature
from treatments.opening.clinical import add_clinical, correct_clinical

pytestmark = pytest.mark.django_db


def test_a_signature_holds_the_text_that_was_shown_and_its_digest() -> None:
    """SHA-256 over label and text, computed here once more with the standard library."""
    whole = closed(whole_six())
    assert sign_as(whole, SiteRole.OPERATOR, "supervisor", comment="all by the table").status_code == 302
    row = RunSignature.objects.get()
    assert row.digest == hashlib.sha256(LABEL + row.shown.encode()).hexdigest() == whole.record.digest
    assert (row.capacity, row.comment, row.signed_by[:8]) == ("supervisor", "all by the table", "Ina Test")
    assert len(json.loads(row.shown)["log"]) == 18  # 6 turns, 6 + 5 of the patient, 1 of the tender
    assert Event.objects.latest("seq").action == "signature given under the record of a run"


def test_a_correction_voids_the_signature_which_stays_visible() -> None:
    whole = closed(whole_six())
    sign_as(whole, SiteRole.OPERATOR, "supervisor")
    (given,) = signatures_of(whole.record)
    assert given.holds
    services.retire(LogEntry.objects.filter(run=whole.run, kind=LogKind.AIR_BREAK)[0], by=make.BY, reason="slip")
    (given,) = signatures_of(whole.record)
    assert (given.holds, [one.value for one in missing_of([given])]) == (False, ["supervisor", "physician"])
    page = operator(whole).get(whole.page("after_run")).content.decode()
    assert "Void: the record changed after it was signed." in page
    assert operator(whole).post(whole.page("after_run"), {"reason": "slip in the log"}).status_code == 302
    assert sign_as(whole, SiteRole.OPERATOR, "supervisor").status_code == 302
    assert [one.holds for one in signatures_of(whole.record)] == [False, True]


@pytest.mark.parametrize("what", ["line", "clinical", "person"])
def test_whatever_is_added_or_changed_voids_it(what: str) -> None:
    whole = whole_six()
    text = add_clinical(whole.run, CLINICAL, whole.patient, None, make.BY)
    closed(whole)
    sign_as(whole, SiteRole.OPERATOR, "supervisor")
    assert signatures_of(whole.record)[0].holds
    if what == "line":
        entry(whole.run, LogKind.NOTE, 10, remark="one more")
    elif what == "clinical":
        correct_clinical(text, "on the right", reason="other side", by=make.BY)
    else:
        services.retire(whole.patient, by=make.BY, reason="wrong run")
    assert not signatures_of(whole.record)[0].holds


def test_what_is_signed_names_no_patient_and_no_text_about_health() -> None:
    whole = whole_six()
    add_clinical(whole.run, CLINICAL, whole.patient, None, make.BY)
    closed(whole)
    sign_as(whole, SiteRole.OPERATOR, "supervisor")
    shown = RunSignature.objects.get().shown
    assert SECRET.split()[0] not in shown
    assert "Clinicalleak" not in shown
    assert not Event.objects.filter(payload__contains="leak").exists()


@pytest.mark.parametrize(
    ("role", "capacity", "status"),
    [
        (SiteRole.OPERATOR, "supervisor", 302),
        (SiteRole.OPERATOR, "physician", 422),
        (SiteRole.PHYSICIAN, "physician", 302),
        (SiteRole.PHYSICIAN, "supervisor", 422),
        (SiteRole.TENDER, "supervisor", 403),
        (SiteRole.INSPECTOR, "physician", 403),
    ],
)
def test_who_may_sign_as_what(role: SiteRole, capacity: str, status: int) -> None:
    whole = closed(whole_six())
    assert sign_as(whole, role, capacity).status_code == status
    assert RunSignature.objects.count() == (1 if status == 302 else 0)


def test_the_password_is_asked_once_more() -> None:
    whole = closed(whole_six())
    answer = sign_as(whole, SiteRole.OPERATOR, "supervisor", password="another long password", comment="kept words")
    assert answer.status_code == 422
    assert "kept words" in answer.content.decode()
    assert not RunSignature.objects.exists()


def test_a_record_that_changed_since_it_was_shown_is_not_signed() -> None:
    whole = closed(whole_six())
    seen = whole.record.digest
    entry(whole.run, LogKind.NOTE, 10, remark="one more")
    operator(whole).post(whole.page("after_run"), {"reason": "banks were read"})
    answer = sign_as(whole, SiteRole.OPERATOR, "supervisor", shown=seen)
    assert answer.status_code == 409
    assert "changed after it was shown" in answer.content.decode()
    assert whole.record.digest in answer.content.decode()


def test_an_open_record_and_a_stale_one_cannot_be_signed() -> None:
    whole = whole_six()
    assert sign_as(whole, SiteRole.OPERATOR, "supervisor").status_code == 409
    closed(whole)
    entry(whole.run, LogKind.NOTE, 10, remark="one more")
    assert sign_as(whole, SiteRole.OPERATOR, "supervisor").status_code == 409
    assert not RunSignature.objects.exists()


def test_two_in_one_capacity_and_one_in_two_are_told() -> None:
    whole = closed(whole_six())
    boss = make.supervisor(whole.run.chamber.site)
    client = signed_in(boss)
    typed = {"shown": whole.record.digest, "password": make.PASSWORD}
    assert client.post(whole.page("sign_run"), typed | {"capacity": "supervisor"}).status_code == 302
    again = sign_as(whole, SiteRole.OPERATOR, "supervisor")
    assert (again.status_code, "signed this record as supervisor already" in again.content.decode()) == (409, True)
    assert client.post(whole.page("sign_run"), typed | {"capacity": "physician"}).status_code == 302
    assert (
        "The same person signed as supervisor and as physician" in client.get(whole.page("after_run")).content.decode()
    )
