"""A director who forgot the password gets in again without e-mail, and the log tells of it."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from facility.accounts import factors
from facility.accounts.invites import first_user_link
from facility.models import Event, FactorSort, User
from tests import make

if TYPE_CHECKING:
    from pathlib import Path

    from pytest_django import Settings

pytestmark = pytest.mark.django_db


def test_the_printed_link_sets_a_new_password_once_and_one_event_says_so() -> None:
    user = make.user(is_superuser=True)
    before, out = Event.objects.count(), StringIO()
    call_command("new_link", user.username, stdout=out)
    event = Event.objects.latest("seq")
    assert Event.objects.count() == before + 1
    assert event.action == "account:password link shown"
    assert f'"username":"{user.username}"' in event.payload.replace(": ", ":")
    link = out.getvalue().split()[-1]
    typed = {"password": "four brown hens at dawn", "again": "four brown hens at dawn"}
    assert Client().post(link, typed).status_code == 302
    assert User.objects.get(pk=user.pk).check_password("four brown hens at dawn")
    assert Client().post(link, typed).status_code == 404


def test_a_last_director_who_lost_the_second_proof_too_gets_in_and_each_step_is_an_event() -> None:
    user = make.user(is_superuser=True)
    factors.keep(user, FactorSort.CODES, "Phone", factors.new_secret(), by=make.BY)
    factors.start_paper(user, by=make.BY)
    out = StringIO()
    call_command("new_link", user.username, stdout=out)
    assert "add --without-proofs" in out.getvalue()
    assert factors.asked_of(user)
    before = Event.objects.count()
    call_command("new_link", user.username, without_proofs=True, stdout=StringIO())
    assert not factors.of(user)
    taken_off = Event.objects.filter(action="account:second proof taken off").order_by("seq")
    assert Event.objects.count() == before + 1 + taken_off.count() == before + 3
    assert {row.actor for row in taken_off} == {"system:new-link"}


@pytest.mark.parametrize(("active", "words"), [(None, "no account"), (False, "deactivated")])
def test_no_link_for_nobody_and_for_a_deactivated_account(*, active: bool | None, words: str) -> None:
    name = "nobody" if active is None else make.user(is_active=active).username
    before = Event.objects.count()
    with pytest.raises(CommandError, match=words):
        call_command("new_link", name)
    assert Event.objects.count() == before


@pytest.mark.parametrize("waits", [True, False])
def test_the_sign_in_page_tells_of_the_first_link_only_while_it_waits(
    settings: Settings, tmp_path: Path, *, waits: bool
) -> None:
    settings.DATA_DIR = tmp_path
    if waits:
        assert first_user_link()
    assert ("one-time link that" in Client().get(reverse("accounts:login")).content.decode()) is waits
