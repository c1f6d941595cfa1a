"""The emergency crew of a plan: typed on its form, kept by new versions, refused where it makes no sense, in files."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from facility.models import Chamber
from tests import make
from tests.treatments.test_plans import new_plan, signed_in, typed_plan
from treatments.models import Plan
from treatments.services import check_plan

OWN = Path(__file__).parent.parent / "data" / "own_facility"
PANEL = {
    "emergency-TOTAL_FORMS": "1", "emergency-INITIAL_FORMS": "0",
    "emergency-0-role": "supervisor", "emergency-0-count": "1",
}  # fmt: skip
STORED = [{"role": "supervisor", "count": 1, "qualifications": [], "medical": False, "from": 0, "to": None}]

pytestmark = pytest.mark.django_db


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber()


@pytest.fixture
def director(chamber: Chamber) -> Client:
    return signed_in(make.user(chamber.site, "director"))


def test_it_is_typed_role_by_role_and_shown_beside_the_crew(chamber: Chamber, director: Client) -> None:
    answer = new_plan(chamber, director, **PANEL)
    assert answer.status_code == 302
    plan = Plan.objects.get()
    assert plan.emergency_roles == STORED
    assert "Emergency crew" in director.get(answer.headers["Location"]).content.decode()


def test_a_new_version_sent_without_its_rows_keeps_it_and_one_with_empty_rows_takes_it_away(
    chamber: Chamber, director: Client
) -> None:
    new_plan(chamber, director, **PANEL)
    old = Plan.objects.get()
    director.post(reverse("treatments:change_plan", args=[chamber.site.key, old.pk]), typed_plan(chamber))
    kept = Plan.objects.get(retired_at=None)
    assert (kept.version, kept.emergency_roles) == (2, STORED)
    empty = PANEL | {"emergency-0-role": "", "emergency-0-count": ""}
    director.post(reverse("treatments:change_plan", args=[chamber.site.key, kept.pk]), typed_plan(chamber, **empty))
    last = Plan.objects.get(retired_at=None)
    assert (last.version, last.emergency_roles) == (3, [])


def test_a_role_without_a_name_is_refused_and_stays_typed(chamber: Chamber, director: Client) -> None:
    answer = new_plan(chamber, director, **PANEL | {"emergency-0-role": "", "emergency-0-count": "2"})
    assert answer.status_code == 422
    assert "give the role a name" in answer.content.decode()
    assert not Plan.objects.exists()


def test_a_qualification_that_does_not_exist_is_refused(chamber: Chamber, director: Client) -> None:
    new_plan(chamber, director)
    plan = Plan.objects.get()
    plan.emergency_roles = [STORED[0] | {"qualifications": ["juggler"]}]
    with pytest.raises(ValidationError, match="juggler"):
        check_plan(plan)


def test_a_file_says_how_many_places_of_a_role_the_emergency_crew_has(tmp_path: Path) -> None:
    folder = tmp_path / "facility"
    shutil.copytree(OWN, folder)
    roles = folder / "plan_roles.csv"
    head, panel, tender = roles.read_text().splitlines()
    roles.write_text("\n".join([f"{head},emergency_count", f"{panel},1", f"{tender},"]) + "\n")
    call_command("import_facility", str(folder), verbosity=0)
    plan = Plan.objects.get()
    assert [(one["role"], one["count"]) for one in plan.emergency_roles] == [("panel operator", 1)]
    assert len(plan.roles) == 2
