"""Asking for a pack on a page, watching it, taking it; the command that builds one."""

from __future__ import annotations

import io
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse

from facility import events
from facility.jobs import runner
from facility.models import Event, Pack, PackState, Site, SiteRole
from tests import make
from tests.pack.kit import built

if TYPE_CHECKING:
    pass

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]
BACKEND = "django.contrib.auth.backends.ModelBackend"
GOOD = {"from_day": "2026-01-01", "to_day": "2026-03-01", "scope": "whole", "recipient": "Ada Test", "ground": "Code 7",
        "paper": "A4", "releases": ""}  # fmt: skip


def signed_in(site: Site, role: str = SiteRole.DIRECTOR) -> Client:
    """Return a client in which somebody of the site is signed in."""
    client = Client()
    client.force_login(make.user(site, role), backend=BACKEND)
    return client


def run_next() -> None:
    """Run the job that is due, as the runner does."""
    job = runner.claim("test", now=events.now())
    assert job is not None
    assert runner.run(job, clock=events.now)


def test_a_pack_is_asked_for_built_by_a_job_and_taken_away_each_with_its_event() -> None:
    site = make.site()
    client = signed_in(site)
    answer = client.post(reverse("pack:packs", args=[site.key]), GOOD)
    pack = Pack.objects.get()
    assert (answer.status_code, answer.headers["Location"]) == (302, reverse("pack:pack", args=[site.key, 1]))
    assert "waits for its turn" in client.get(answer.headers["Location"]).content.decode()
    run_next()
    pack.refresh_from_db()
    page = client.get(answer.headers["Location"]).content.decode()
    assert (pack.state, pack.sha256 in page) == (PackState.BUILT, True)
    got: Any = client.post(reverse("pack:fetch", args=[site.key, 1]))
    content = b"".join(got.streaming_content)
    assert zipfile.ZipFile(io.BytesIO(content)).testzip() is None
    assert got.headers["Content-Disposition"] == 'attachment; filename="pack-1-2026-01-01-2026-03-01.zip"'
    assert (got.headers["X-Content-Type-Options"], got.headers["Cache-Control"]) == ("nosniff", "no-store")
    told = Event.objects.filter(subject_kind="facility.pack").order_by("seq").values_list("action", "actor")
    assert [action for action, _who in told] == ["pack asked", "pack built", "pack fetched"]
    assert told[2][1] == told[0][1] != "system:build_pack"


def test_looking_at_packs_changes_nothing_and_a_look_does_not_hand_out_the_file() -> None:
    site = make.site()
    built(site)
    client = signed_in(site)
    before = Event.objects.count()
    for name in ("pack:pack", "pack:fetch", "pack:again"):
        client.get(reverse(name, args=[site.key, 1]))
    assert client.get(reverse("pack:fetch", args=[site.key, 1])).status_code == 405
    assert Event.objects.count() == before


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"to_day": "2025-01-01"}, "before it begins"), ({"scope": "area:moon"}, "area:moon"),
     ({"recipient": ""}, "required"), ({"from_day": "31.02.2026"}, "31.02.2026"),
     ({"releases": "drills x y"}, "Line 1"), ({"releases": "drills 99 went_wrong asked for"}, "no record 99"),
     ({"releases": "people 1 phone asked for"}, "not released one by one")],
)  # fmt: skip
def test_a_refused_form_comes_back_with_what_was_typed(wrong: dict[str, str], said: str) -> None:
    site = make.site()
    make.person(site)
    answer = signed_in(site).post(reverse("pack:packs", args=[site.key]), {**GOOD, "ground": "Typed ground", **wrong})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "Typed ground" in page
    assert not Pack.objects.exists()


def test_a_pack_of_another_site_is_not_found() -> None:
    site, own = make.site(), make.site()
    built(site)
    client = signed_in(own)
    assert client.post(reverse("pack:fetch", args=[own.key, 1])).status_code == 404
    assert client.post(reverse("pack:fetch", args=[site.key, 1])).status_code == 404


def test_the_number_of_queries_does_not_grow_with_packs(django_assert_max_num_queries: Any) -> None:
    site = make.site()
    client = signed_in(site)
    for _turn in range(4):
        built(site)
    with django_assert_max_num_queries(20):
        client.get(reverse("pack:packs", args=[site.key]))


def test_the_command_builds_a_pack_and_prints_its_path_last(tmp_path: Path, capsys: Any) -> None:
    site = make.site()
    call_command("build_pack", site.key, "--from", "2026-01-01", "--to", "2026-03-01", "--recipient", "Ada", "--ground",
                 "Code 7", "--out", str(tmp_path / "out"))  # fmt: skip
    last = Path(capsys.readouterr().out.splitlines()[-1])
    assert last == tmp_path / "out" / "pack-1-2026-01-01-2026-03-01.zip"
    assert zipfile.ZipFile(last).testzip() is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["nowhere"], "no site “nowhere”"), (["{site}", "--from", "2026-13-01"], "“2026-13-01” is no day"),
     (["{site}", "--scope", "area:moon"], "no scope of a pack"), (["{site}", "--release", "x"], "Line 1"),
     (["{site}", "--to", "2025-12-31"], "before it begins"), (["{site}", "--out", "/dev/null"], "no folder")],
)  # fmt: skip
def test_the_command_refuses_what_makes_no_sense(arguments: list[str], said: str, tmp_path: Path) -> None:
    given = [one.replace("{site}", make.site().key) for one in arguments]
    usual = ["--from", "2026-01-01", "--to", "2026-03-01", "--recipient", "A", "--ground", "B", "--out", str(tmp_path)]
    with pytest.raises(CommandError, match=said):
        call_command("build_pack", *usual, *given)


def test_a_pack_can_be_asked_for_until_today_and_no_further() -> None:
    site = make.site()
    ahead = (events.now() + timedelta(days=2)).date().isoformat()
    answer = signed_in(site).post(reverse("pack:packs", args=[site.key]), {**GOOD, "to_day": ahead})
    assert answer.status_code == 422
    assert "lies ahead" in answer.content.decode()
