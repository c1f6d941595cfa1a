"""Who a patient is and what is said of anybody's health stand in two tables only, behind their own right."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.urls import URLPattern, get_resolver, reverse

from facility import events
from facility.access import ACTS, Act
from facility.models import Event, SiteRole
from facility.record_check import verify
from facility.services import ChangedMeanwhileError
from tests import make
from tests.treatments.opening.support import opened, put
from tests.treatments.test_runs import signed_in
from treatments.models import ClinicalText, Patient, RunPlace, RunRole
from treatments.opening.clinical import add_clinical, correct_clinical, erase_clinical
from treatments.opening.patients import add_patient, change_patient, digest_of, erase_patient
from treatments.opening.places import link_patient

pytestmark = pytest.mark.django_db

MARKERS = {
    "name": "Zyxmark Quandary", "reach_at": "marker-of-reach-77", "number": "marker-of-number-88", "note": "marker-of-note-99",
}  # fmt: skip
CLINICAL = "marker-of-health: numb left hand"


def story() -> tuple[RunPlace, Patient, ClinicalText]:
    """A patient added, linked, corrected; a clinical text added and corrected."""
    run = opened()
    place = put(run, RunRole.PATIENT)
    patient = add_patient(Patient(site=run.chamber.site, **MARKERS), by=make.BY)
    link_patient(place, patient, by=make.BY, reason="added")
    patient.note = MARKERS["note"] + " second"
    change_patient(patient, reason="slip", shown_version=1, by=make.BY)
    text = correct_clinical(
        add_clinical(run, "marker-of-health: old", place, None, make.BY), CLINICAL, reason="slip", by=make.BY
    )
    return place, patient, text


def everything_but(*models: str) -> str:
    """Return the text of every value in every table of the project except these."""
    found = []
    for model in apps.get_models():
        if model._meta.label not in models:
            for row in model._default_manager.values_list():
                found += [str(bytes(value) if isinstance(value, memoryview) else value) for value in row]
    return "\n".join(found)


def test_no_value_of_an_identity_or_of_health_is_anywhere_but_in_its_own_table() -> None:
    story()
    text = everything_but("treatments.Patient", "treatments.ClinicalText")
    for marker in (*MARKERS.values(), "marker-of-health"):
        assert marker not in text, marker
    assert Event.objects.filter(action__startswith="patient").count() == 3  # added, linked, corrected
    assert "patient 1" in text


def test_an_event_holds_the_salted_digest_and_without_the_salt_nobody_can_try_names() -> None:
    """SHA-256 over salt and canonical JSON, reckoned here anew with the library alone."""
    _place, patient, text = story()
    told = json.loads(Event.objects.filter(action="patient corrected").get().payload)["after"]
    values = {**MARKERS, "note": MARKERS["note"] + " second", "born_on": ""}
    canonical = json.dumps(values, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
    assert told == {"digest": hashlib.sha256(bytes(patient.salt) + canonical).hexdigest()}
    assert told["digest"] != hashlib.sha256(canonical).hexdigest()
    event = Event.objects.filter(action="clinical text added").latest("seq")
    assert (
        json.loads(event.payload)["after"]["digest"] == hashlib.sha256(bytes(text.salt) + CLINICAL.encode()).hexdigest()
    )
    twin = add_patient(Patient(site=patient.site, **MARKERS), by=make.BY)
    assert digest_of(twin) != digest_of(patient), "the same person twice has two digests"


def test_an_erased_identity_leaves_the_log_whole_and_the_pseudonym_in_the_run() -> None:
    place, patient, text = story()
    erase_patient(patient, reason="asked for by law", shown_version=patient.row_version, by=make.BY)
    erase_clinical(text, reason="asked for by law", by=make.BY)
    for old in ClinicalText.objects.filter(erased_at=None):
        erase_clinical(old, reason="asked for by law", by=make.BY)
    assert not any(marker in everything_but() for marker in (*MARKERS.values(), "marker-of-health"))
    assert verify().ok
    place.refresh_from_db()
    assert place.label == "patient 1"
    with pytest.raises(ValidationError, match="was erased"):
        change_patient(patient, reason="x", shown_version=patient.row_version, by=make.BY)
    assert bytes(Patient.objects.get().salt) == b""


def test_two_who_correct_an_identity_at_once_do_not_overwrite_each_other() -> None:
    _place, patient, _text = story()
    with pytest.raises(ChangedMeanwhileError):
        change_patient(patient, reason="x", shown_version=1, by=make.BY)


def test_a_clinical_text_is_refused_blank_too_long_or_about_another_run() -> None:
    place, _patient, _text = story()
    other = opened()
    with pytest.raises(ValidationError, match="Write what is to be kept"):
        add_clinical(place.run, "  ", place, None, make.BY)
    with pytest.raises(ValidationError, match="20000 are taken"):
        add_clinical(place.run, "x" * 20_001, place, None, make.BY)
    with pytest.raises(ValidationError, match="another run"):
        add_clinical(other, "x", place, None, make.BY)
    with pytest.raises(ValidationError, match="no patient of this run"):
        link_patient(put(other, RunRole.PANEL, name="x"), None, by=make.BY, reason="x")
    stranger = add_patient(Patient(site=make.site(), name="Somebody"), by=make.BY)
    with pytest.raises(ValidationError, match="no patient of this site"):
        link_patient(place, stranger, by=make.BY, reason="x")


def pages(place: RunPlace, patient: Patient, text: ClinicalText) -> dict[str, tuple[Any, ...]]:
    """Return the pages that name a patient or tell of health, with what they open."""
    site, run = place.run.chamber.site.key, place.run_id
    return {
        "patients": (site,), "add_patient": (site,), "patient": (site, patient.pk), "change_patient": (site, patient.pk),
        "erase_patient": (site, patient.pk), "link_patient": (site, run, place.pk), "clinical": (site, run),
        "correct_text": (site, run, text.pk),
    }  # fmt: skip


@pytest.mark.parametrize("role", SiteRole)
def test_only_who_has_the_right_opens_the_pages_that_name_a_patient(role: SiteRole) -> None:
    place, patient, text = story()
    client = signed_in(make.user(place.run.chamber.site, role))
    for name, parts in pages(place, patient, text).items():
        answer = client.get(reverse(f"treatments:{name}", args=parts))
        assert answer.status_code == (200 if Act.PATIENT in ACTS[role] else 403), (role, name)


def test_no_page_shows_an_identity_or_health_to_who_lacks_the_right() -> None:
    """Every address of the site that takes no more than the keys at hand, seen by an operator and by an inspector."""
    place, _patient, _text = story()
    site = place.run.chamber.site
    known = {"site": site.key, "pk": place.run_id, "place_pk": place.pk, "seq": 1, "chamber": place.run.chamber.key,
             "table": "TT6", "plan": place.run.plan.key}  # fmt: skip
    seen = 0
    for role in ("operator", "inspector", "tender"):
        client = signed_in(make.user(site, role))
        for pattern in _patterns(get_resolver()):
            address = _filled(pattern, known)
            if address is None:
                continue
            answer = client.get(address)
            seen += answer.status_code == 200  # shown
            text = answer.content.decode(errors="replace")
            for marker in (*MARKERS.values(), "marker-of-health"):
                assert marker not in text, (role, address)
    for event in Event.objects.all():
        page = client.get(reverse("places:event", args=[site.key, event.seq])).content.decode()
        assert "arker" not in page
    assert seen > 60, "the walk found its pages"  # of three roles


def _patterns(resolver: Any, before: str = "") -> list[str]:
    found = []
    for entry in resolver.url_patterns:
        text = before + str(entry.pattern)
        found += [text] if isinstance(entry, URLPattern) else _patterns(entry, text)
    return found


def _filled(pattern: str, known: dict[str, Any]) -> str | None:
    """Return the address of a page of the site with what is known filled in; None where something else is asked for."""
    if not pattern.startswith("<slug:site>/"):
        return None
    for name, value in known.items():
        for kind in ("slug", "int", "str"):
            pattern = pattern.replace(f"<{kind}:{name}>", str(value))
    return None if "<" in pattern or "^" in pattern else f"/{pattern}"


def test_the_pages_add_link_correct_find_and_erase_an_identity() -> None:
    run = opened()
    site, place = run.chamber.site, put(run, RunRole.PATIENT)
    client = signed_in(make.user(site, "physician"))
    add = reverse("treatments:add_patient", args=[site.key]) + f"?place={place.pk}"
    assert "data-keep" not in client.get(add).content.decode(), "no draft of an identity stays on the device"
    assert client.post(add, {"name": "", "note": "kept"}).status_code == 422
    assert client.post(add, {"name": MARKERS["name"], "born_on": "3 Apr 1991"}).status_code == 302
    place.refresh_from_db()
    patient = Patient.objects.get()
    assert place.patient == patient
    found = client.post(reverse("treatments:patients", args=[site.key]), {"word": "quandary"}).content.decode()
    assert MARKERS["name"] in found
    change = reverse("treatments:change_patient", args=[site.key, patient.pk])
    typed = {"name": MARKERS["name"], "number": "17", "shown_version": "1"}
    assert client.post(change, typed | {"reason": ""}).status_code == 422
    assert client.post(change, typed | {"reason": "number came"}).status_code == 302
    assert client.post(change, typed | {"reason": "again"}).status_code == 409
    link = reverse("treatments:link_patient", args=[site.key, run.pk, place.pk])
    assert client.post(link, {"patient": ""}).status_code == 422, "a changed link asks for a reason"
    assert client.post(link, {"patient": "", "reason": "wrong person"}).status_code == 302
    erase = reverse("treatments:erase_patient", args=[site.key, patient.pk])
    assert client.post(erase, {"reason": "asked for"}).status_code == 302
    page = client.get(reverse("treatments:patient", args=[site.key, patient.pk])).content.decode()
    assert MARKERS["name"] not in page
    assert "Erased" in page


def test_the_page_of_clinical_texts_keeps_corrects_and_erases() -> None:
    place, _patient, text = story()
    site, run = place.run.chamber.site, place.run
    client = signed_in(make.user(site, "physician"))
    page = reverse("treatments:clinical", args=[site.key, run.pk])
    assert client.post(page, {"text": ""}).status_code == 422
    assert client.post(page, {"text": "full strength", "about": place.pk}).status_code == 302
    correct = reverse("treatments:correct_text", args=[site.key, run.pk, text.pk])
    assert client.post(correct, {"text": "numb both hands", "reason": ""}).status_code == 422
    assert client.post(correct, {"text": "numb both hands", "reason": "heard wrong"}).status_code == 302
    shown = client.get(page).content.decode()
    assert "<s>" in shown
    assert "numb both hands" in shown
    assert client.post(correct, {"erase": "1", "reason": "asked for"}).status_code == 302
    assert CLINICAL not in client.get(page).content.decode()


def test_a_patient_is_never_named_where_people_are_put_in_a_run() -> None:
    run = opened()
    client = signed_in(make.user(run.chamber.site, "tender"))
    address = reverse("treatments:add_place", args=[run.chamber.site.key, run.pk])
    assert client.post(address, {"role": "patient", "name": MARKERS["name"]}).status_code == 422
    assert client.post(address, {"role": "patient"}).status_code == 302
    assert not any(MARKERS["name"] in event.payload for event in Event.objects.all())
    assert events.now() >= RunPlace.objects.get(role="patient").recorded_at


def test_the_way_to_the_patients_is_shown_to_who_has_the_right() -> None:
    site = make.site()
    leads = f'href="{reverse("treatments:patients", args=[site.key])}"'
    for role, shown in (("physician", True), ("operator", False)):
        page = signed_in(make.user(site, role)).get(reverse("places:records", args=[site.key])).content.decode()
        assert (leads in page) is shown, role
