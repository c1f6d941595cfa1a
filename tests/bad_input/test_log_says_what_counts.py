"""The place Check & log never calls a check good that no longer counts or did not pass."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.compute.sheets import Typed
from maintenance.models import Opening
from tests import make
from tests.walk.walking import World, all_good, begin, give, sign, world

pytestmark = pytest.mark.django_db


def log_of(w: World) -> str:
    """Return the text of the log page, as an inspector sees it."""
    client = Client()
    client.force_login(make.user(w.site, "inspector"))
    return client.get(reverse("walk:log", args=[w.site.key])).content.decode()


def test_a_check_signed_before_the_chamber_was_opened_is_not_called_good() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    assert "good until" in log_of(w)
    opening = Opening(chamber=w.sheet.chamber, opened_at=events.now(), work="door seal changed")
    services.add(opening, by=make.BY)
    text = log_of(w)
    assert "good until" not in text
    assert "counts no longer" in text


def test_an_opening_of_another_chamber_undoes_nothing() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    services.add(Opening(chamber=make.chamber(w.site), opened_at=events.now(), work="light changed"), by=make.BY)
    assert "good until" in log_of(w)


def test_a_check_that_failed_is_not_called_good() -> None:
    w = world()
    check = begin(w)
    all_good(w, check, leave_out=("supply",))
    give(w, check, "supply", Typed(value="0.1"))
    sign(w, check)
    text = log_of(w)
    assert "good until" not in text
    assert "failed" in text
