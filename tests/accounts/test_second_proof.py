"""The second proof: codes of RFC 6238, codes on paper, who may take it off, and what signing asks."""

from __future__ import annotations

import base64
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.core.exceptions import ValidationError
from django.test import Client, RequestFactory
from django.urls import reverse

from facility import events, services
from facility.access import Visit
from facility.accounts import factors, invites
from facility.accounts.password_form import PROVEN, PasswordForm
from facility.models import Event, FactorSort, HouseRule, SecondFactor, SiteRole, User
from tests import make

pytestmark = pytest.mark.django_db
#: RFC 6238 appendix B: the secret of its SHA-1 test vectors
RFC_SECRET = base64.b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(
    ("seconds", "eight_figures"),
    [(59, "94287082"), (1111111109, "07081804"), (1234567890, "89005924"), (2000000000, "69279037")],
)
def test_the_generator_follows_the_published_vectors(seconds: int, eight_figures: str) -> None:
    """RFC 6238 appendix B; the last six of its eight figures."""
    at = datetime.fromtimestamp(seconds, tz=UTC)
    assert factors.counter_of(RFC_SECRET, eight_figures[-6:], at) == seconds // 30


def with_generator(user: User) -> str:
    """Give an account a code generator and return its secret."""
    secret = factors.new_secret()
    factors.keep(user, FactorSort.CODES, "code generator", secret, by=make.BY)
    return secret


def code_of(secret: str, at: datetime | None = None) -> str:
    return pyotp.TOTP(secret).at(at or events.now())


def signed_in_as_far_as_the_password(user: User) -> Client:
    client = Client()
    answer = client.post(reverse("accounts:login"), {"username": user.username, "password": make.PASSWORD})
    assert answer.headers["Location"] == reverse("accounts:second")
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse("accounts:account")).status_code == 200


def test_the_password_alone_lets_nobody_in_who_has_a_second_proof() -> None:
    user = make.user()
    secret = with_generator(user)
    client = signed_in_as_far_as_the_password(user)
    assert not is_in(client)
    assert client.post(reverse("accounts:second"), {"code": code_of(secret)}).status_code == 302
    assert is_in(client)
    assert PROVEN in client.session


def test_a_code_counts_once() -> None:
    user = make.user()
    secret = with_generator(user)
    code = code_of(secret)
    assert [factors.shown(user, code) for _time in range(2)] == [True, False]


def test_a_wrong_code_is_refused_and_counted_like_a_wrong_password() -> None:
    user = make.user()
    with_generator(user)
    client = signed_in_as_far_as_the_password(user)
    first = client.post(reverse("accounts:second"), {"code": "000000"})
    assert first.status_code == 422
    assert "not right" in first.content.decode()
    for _time in range(7):
        client.post(reverse("accounts:second"), {"code": "000000"})
    again = Client().post(reverse("accounts:login"), {"username": user.username, "password": make.PASSWORD})
    assert again.status_code == 429
    assert Event.objects.filter(action="security:locked out").exists()


def test_five_minutes_after_the_password_it_is_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    user = make.user()
    secret = with_generator(user)
    client = signed_in_as_far_as_the_password(user)
    later = events.now() + timedelta(minutes=5, seconds=1)
    monkeypatch.setattr(events, "now", lambda: later)
    answer = client.post(reverse("accounts:second"), {"code": code_of(secret, later)})
    assert answer.headers["Location"] == reverse("accounts:login")
    assert not is_in(client)


def test_a_code_on_paper_works_once_and_the_log_says_so() -> None:
    user = make.user()
    with_generator(user)
    codes = factors.start_paper(user, by=make.BY)
    assert len(set(codes)) == factors.PAPER_CODES
    assert [factors.shown(user, codes[0]) for _time in range(2)] == [True, False]
    assert factors.paper_left(user) == factors.PAPER_CODES - 1
    assert Event.objects.get(action="account:code on paper used").reason == "9 left"


def test_no_secret_stands_in_the_log_or_open_in_the_database() -> None:
    user = make.user()
    secret = with_generator(user)
    codes = factors.start_paper(user, by=make.BY)
    rows = " ".join(SecondFactor.objects.values_list("data", flat=True))
    told = " ".join(Event.objects.values_list("payload", flat=True))
    for one in (secret, *codes):
        assert one not in rows
        assert one not in told


def test_another_secret_key_opens_no_stored_proof(settings: pytest.FixtureRequest) -> None:
    user = make.user()
    secret = with_generator(user)
    settings.SECRET_KEY = "another key"  # type: ignore[attr-defined]  # pytest-django's settings
    with pytest.raises(ValidationError, match="another secret key"):
        factors.shown(user, code_of(secret))


def test_a_generator_is_added_by_its_first_code_with_the_password() -> None:
    user = make.user()
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    page = reverse("accounts:add_generator")
    assert client.get(page).status_code == 200
    secret = client.session["new_generator"]
    wrong = client.post(page, {"password": make.PASSWORD, "code": "000000"})
    assert wrong.status_code == 422
    assert not factors.asked_of(user)
    done = client.post(page, {"password": make.PASSWORD, "code": code_of(secret)})
    assert done.status_code == 200
    assert factors.asked_of(user)
    assert factors.paper_left(user) == factors.PAPER_CODES


def test_a_director_takes_it_off_with_a_reason_and_the_paper_codes_go_too() -> None:
    site = make.site()
    user, director = make.user(site, SiteRole.OPERATOR), make.user(site, SiteRole.DIRECTOR)
    with_generator(user)
    factors.start_paper(user, by=make.BY)
    client = Client()
    client.force_login(director, backend="django.contrib.auth.backends.ModelBackend")
    page = reverse("accounts:take_off_proofs", args=[site.key, user.pk])
    assert client.post(page, {"reason": ""}).status_code == 422
    assert factors.asked_of(user)
    assert client.post(page, {"reason": "telephone lost"}).status_code == 302
    assert factors.of(user) == []
    assert set(SecondFactor.objects.values_list("data", flat=True)) == {""}


@pytest.mark.parametrize(("rule", "proven", "may"), [("0", False, True), ("1", False, False), ("1", True, True)])
def test_where_the_house_asks_nobody_signs_with_a_password_alone(rule: str, *, proven: bool, may: bool) -> None:
    site = make.site()
    user = make.user(site, SiteRole.SUPERVISOR)
    services.add(
        HouseRule(site=site, key="second_proof_to_sign", value=rule, approved_by="Ina Test", in_force_from=make.NOON),
        by=make.BY,
    )
    request = RequestFactory().post("/")
    request.user = user
    request.session = {PROVEN: "now"} if proven else {}  # type: ignore[assignment]  # all that is looked at
    request.visit = Visit(site, frozenset(), make.BY)  # type: ignore[attr-defined]  # as enter() leaves it
    form = PasswordForm({"password": make.PASSWORD}, request=request)
    assert form.is_valid() is may
    if not may:
        assert "house rule" in str(form.errors)


def test_a_link_to_a_new_password_opens_no_account_without_its_second_proof() -> None:
    user = make.user()
    secret = with_generator(user)
    client = Client()
    form = {"password": "three grey seals", "again": "three grey seals"}
    answer = client.post(invites.password_link(user), form)
    assert answer.headers["Location"] == reverse("accounts:second")
    assert not is_in(client)
    assert client.post(reverse("accounts:second"), {"code": code_of(secret)}).status_code == 302
    assert is_in(client)


def test_a_right_code_does_not_open_what_wrong_codes_have_locked() -> None:
    user = make.user()
    secret = with_generator(user)
    client, other = signed_in_as_far_as_the_password(user), signed_in_as_far_as_the_password(user)
    for _time in range(settings.AXES_FAILURE_LIMIT):
        client.post(reverse("accounts:second"), {"code": "000000"})
    for one in (client, other):
        assert one.post(reverse("accounts:second"), {"code": code_of(secret)}).status_code == 429
        assert not is_in(one)


def test_the_code_that_added_a_generator_does_not_open_the_door_too() -> None:
    """RFC 6238 section 5.2: the second use of a code that was taken is not accepted."""
    user = make.user()
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    client.get(reverse("accounts:add_generator"))
    code = code_of(client.session["new_generator"])
    assert client.post(reverse("accounts:add_generator"), {"password": make.PASSWORD, "code": code}).status_code == 200
    assert not factors.shown(user, code)


def test_where_one_wanted_to_go_may_be_anything_and_the_second_proof_still_lets_in() -> None:
    user = make.user()
    secret = with_generator(user)
    client = Client()
    door = {"username": user.username, "password": make.PASSWORD, "next": "somewhere"}
    client.post(reverse("accounts:login"), door)
    assert client.post(reverse("accounts:second"), {"code": code_of(secret)}).headers["Location"] == "somewhere"
    assert is_in(client)


def test_a_wrong_password_at_a_signature_keeps_nothing_of_what_was_to_be_signed() -> None:
    """Forms that ask for the password carry remarks, readings and accounts of what happened."""
    client = Client()
    user = make.user()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    form = {"password": "wrong", "remark": "Marker-Of-A-Patient", "name": "tablet"}
    for _time in range(2):
        assert client.post(f"{reverse('accounts:new_paper')}?q=Marker-Of-A-Patient", form).status_code == 422
    kept = list(AccessAttempt.objects.filter(username=user.username).values())
    assert [row["failures_since_start"] for row in kept] == [2]
    assert "Marker-Of-A-Patient" not in str(kept)
