"""Accounts: the first one, invitations, one-time links, deactivation, locks."""

from __future__ import annotations

import re

import pytest
from axes.models import AccessAttempt
from django.core.exceptions import ValidationError
from django.test import Client, override_settings
from django.urls import reverse

from facility.access import ACTS, Act, acts_of
from facility.accounts import factors, invites, services
from facility.accounts.services import NewAccount
from facility.events import Actor
from facility.models import Event, FactorSort, Membership, SiteRole, User
from tests import make

pytestmark = pytest.mark.django_db


def sign_in(client: Client, name: str, password: str = make.PASSWORD) -> int:
    return client.post(reverse("accounts:login"), {"username": name, "password": password}).status_code


def test_the_first_account_is_made_once_by_the_printed_link(client: Client) -> None:
    link = invites.first_user_link()
    assert link is not None
    form = {
        "username": "klindqvist",
        "full_name": "K. Lindqvist",
        "password": "three grey seals",
        "again": "three grey seals",
    }
    assert client.post(link, form).status_code == 302
    assert User.objects.get().is_superuser
    assert invites.first_user_link() is None
    assert Client().get(link).status_code == 404
    assert Event.objects.get(action="account:first made").actor == "system:first-user"


def test_a_guessed_first_account_link_leads_nowhere(client: Client) -> None:
    invites.first_user_link()
    for guess in ("guess", "gjætt", "\N{GREEK SMALL LETTER PI}"):
        assert client.get(reverse("accounts:first_user", args=[guess])).status_code == 404


@pytest.mark.parametrize(
    ("password", "again", "message"),
    [
        ("short", "short", "at least 10 characters"),
        ("three grey seals", "three grey seal", "differ"),
        ("1234567890", "1234567890", "too common"),
    ],
)
def test_a_weak_or_mistyped_password_is_refused_and_the_rest_kept(
    client: Client, password: str, again: str, message: str
) -> None:
    link = str(invites.first_user_link())
    answer = client.post(link, {"username": "kl", "full_name": "K. Lindqvist", "password": password, "again": again})
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="K. Lindqvist"' in answer.text
    assert not User.objects.exists()


def test_an_invited_person_chooses_a_password_once(client: Client) -> None:
    site = make.site()
    director = make.user(site, SiteRole.DIRECTOR)
    client.force_login(director, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post(
        reverse("accounts:accounts", args=[site.key]),
        {"full_name": "Odd Rask", "username": "orask", "roles": ["tender"], "email": "odd@example.org"},
    )
    invited = User.objects.get(username="orask")
    assert invited.email == "odd@example.org"
    assert not Event.objects.filter(payload__contains="odd@").exists()
    shown = re.search(r'value="http://testserver([^"]+)"', answer.text)
    assert shown is not None
    link = shown.group(1)
    assert not invited.has_usable_password()
    newcomer = Client()
    assert newcomer.post(link, {"password": "three grey seals", "again": "three grey seals"}).status_code == 302
    assert Client().get(link).status_code == 404
    assert sign_in(Client(), "orask", "three grey seals") == 302
    assert list(Membership.objects.filter(user=invited).values_list("role", flat=True)) == ["tender"]


def test_an_invitation_without_a_role_is_refused() -> None:
    with pytest.raises(ValidationError, match="at least one role"):
        services.invite(make.site(), NewAccount("x", "X Y", ()), by=make.BY)


def test_an_unknown_role_is_refused_and_nothing_is_stored() -> None:
    with pytest.raises(ValidationError, match="no role"):
        services.invite(make.site(), NewAccount("x", "X Y", ("captain",)), by=make.BY)
    assert not User.objects.filter(username="x").exists()


def test_a_deactivated_account_is_out_at_once_and_its_entries_stay() -> None:
    site = make.site()
    tender = make.user(site, SiteRole.TENDER)
    director = make.user(site, SiteRole.DIRECTOR)
    open_session = Client()
    open_session.force_login(tender, backend="django.contrib.auth.backends.ModelBackend")
    services.set_active(tender, active=False, by=Actor(str(director), director.pk), reason="left", site=site)
    assert open_session.get(reverse("accounts:account")).status_code == 302
    assert sign_in(Client(), tender.username) != 302
    assert Event.objects.filter(action="account:deactivated", reason="left").count() == 1


def test_nobody_deactivates_themselves_and_the_last_one_stays() -> None:
    site = make.site()
    first = make.user(site, SiteRole.DIRECTOR, is_superuser=True)
    with pytest.raises(ValidationError, match="your own account"):
        services.set_active(first, active=False, by=Actor("x", first.pk), reason="r", site=site)
    with pytest.raises(ValidationError, match="last account"):
        services.set_active(first, active=False, by=Actor("x", 0), reason="r", site=site)


@override_settings(AXES_FAILURE_LIMIT=3)
def test_wrong_passwords_lock_one_name_at_one_address_until_a_second_person_unlocks() -> None:
    site = make.site()
    tender, director = make.user(site, SiteRole.TENDER), make.user(site, SiteRole.DIRECTOR)
    tablet = Client(REMOTE_ADDR="10.0.0.7")
    for _ in range(3):
        sign_in(tablet, tender.username, "wrong")
    assert sign_in(tablet, tender.username) == 429
    assert sign_in(Client(REMOTE_ADDR="10.0.0.8"), tender.username) == 302
    assert Event.objects.filter(action="security:locked out").exists()
    desk = Client(REMOTE_ADDR="10.0.0.9")
    assert sign_in(desk, director.username) == 302
    desk.post(reverse("accounts:unlock", args=[site.key]), {"username": tender.username})
    assert sign_in(tablet, tender.username) == 302
    assert Event.objects.filter(action="security:unlocked").count() == 1


def test_fifty_wrong_passwords_from_one_tablet_do_not_lock_another() -> None:
    site = make.site()
    tender = make.user(site, SiteRole.TENDER)
    tablet = Client(REMOTE_ADDR="10.0.0.7")
    for _ in range(50):
        sign_in(tablet, tender.username, "wrong")
    assert sign_in(Client(REMOTE_ADDR="10.0.0.8"), tender.username) == 302
    assert Event.objects.filter(action="security:locked out", payload__contains=tender.username).count() == 1


def test_a_light_is_kept_for_the_person_and_for_the_device(client: Client) -> None:
    tender = make.user(make.site(), SiteRole.TENDER)
    client.force_login(tender, backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post(reverse("accounts:light"), {"light": "night", "next": "https://elsewhere.example/"})
    assert answer.headers["Location"] == "/"
    assert client.cookies["light"].value == "night"
    tender.refresh_from_db()
    assert tender.light == "night"
    nowhere = client.post(reverse("accounts:light"), {"light": "night", "next": "no-such-page"})
    assert nowhere.headers["Location"] == "no-such-page"


def test_an_inspector_only_sees() -> None:
    assert acts_of(["inspector"]) == {Act.SEE}


def test_every_act_is_allowed_to_some_role_and_every_role_sees() -> None:
    assert frozenset().union(*ACTS.values()) == frozenset(Act)
    assert all(Act.SEE in allowed for allowed in ACTS.values())
    assert set(ACTS) == set(SiteRole)


@override_settings(AXES_FAILURE_LIMIT=3)
def test_guessing_the_password_from_an_open_session_is_counted_like_at_the_door() -> None:
    tender = make.user(make.site(), SiteRole.TENDER)
    tablet = Client(REMOTE_ADDR="10.0.0.7")
    sign_in(tablet, tender.username)
    new = {"password": "three grey seals", "again": "three grey seals"}
    for guess in ("one", "two", "three"):
        tablet.post(reverse("accounts:account"), {"old": guess} | new)
    kept = " ".join(str(row) for row in AccessAttempt.objects.filter(username=tender.username).values())
    assert "three grey seals" not in kept
    assert "two" not in kept
    tablet.post(reverse("accounts:account"), {"old": make.PASSWORD} | new)
    tender.refresh_from_db()
    assert tender.check_password(make.PASSWORD)
    assert Event.objects.filter(action="security:locked out").count() == 1


@pytest.mark.parametrize("page", ["reset", "take_off_proofs", "set_active"])
@pytest.mark.parametrize("reach", ["another site", "everywhere"])
def test_a_director_of_one_site_opens_and_shuts_no_account_that_counts_elsewhere(page: str, reach: str) -> None:
    here, there = make.site(), make.site()
    director = make.user(here, SiteRole.DIRECTOR)
    person = make.user(here, SiteRole.TENDER, is_superuser=reach == "everywhere")
    if reach == "another site":
        services.set_roles(person, there, ["director"], by=make.BY, reason="also there")
    proof = factors.keep(person, FactorSort.CODES, "code generator", factors.new_secret(), by=make.BY)
    desk = Client()
    desk.force_login(director, backend="django.contrib.auth.backends.ModelBackend")
    answer = desk.post(reverse(f"accounts:{page}", args=[here.key, person.pk]), {"reason": "r"}, follow=True)
    assert (there.name if reach == "another site" else "at every site") in answer.text
    assert "/accept/" not in answer.text
    person.refresh_from_db()
    proof.refresh_from_db()
    assert person.is_active
    assert proof.is_current


def test_a_director_of_both_sites_may_make_a_link_for_an_account_of_both() -> None:
    here, there = make.site(), make.site()
    director, person = make.user(here, SiteRole.DIRECTOR), make.user(here, SiteRole.TENDER)
    for who, role in ((director, "director"), (person, "operator")):
        services.set_roles(who, there, [role], by=make.BY, reason="also there")
    desk = Client()
    desk.force_login(director, backend="django.contrib.auth.backends.ModelBackend")
    assert "/accept/" in desk.post(reverse("accounts:reset", args=[here.key, person.pk])).text
