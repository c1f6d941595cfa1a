"""The crew that a worked-out plan begins with.

Expected: three individuals at least, two in an emergency; U.S. Navy Diving Manual, revision 4 with change A, 21-5.6.1,
p. 21-22, which names supervisor, outside tender and inside tender.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.treatments.plan_maker.support import client_of, page, with_locks
from tests.treatments.plan_maker.test_making import words_of
from tests.treatments.test_runs import plan_of

pytestmark = pytest.mark.django_db


def typed(rows: Any) -> list[tuple[str, int]]:
    """Return role and people of each row that is filled in."""
    return [(one["role"].value(), one["count"].value()) for one in rows.forms if one["role"].value()]


def test_a_plan_from_a_table_offers_the_least_crew_of_the_handbook_with_its_source() -> None:
    chamber = with_locks()
    answer = page(client_of(chamber), chamber, "plan_from_table", table="TT6")
    least = typed(answer.context["roles"])
    assert [role for role, _count in least] == ["Supervisor", "Outside tender", "Inside tender"]
    assert sum(count for _role, count in least) == 3
    assert sum(count for _role, count in typed(answer.context["emergency"])) == 2
    text = words_of(answer)
    assert "21-5.6.1, p. 21-22" in text
    assert "It names no qualification" in text
    assert "(unconfirmed)" in text, "who stands outside of the two is common practice, no source"


def test_a_party_with_more_tenders_is_offered_as_many_inside() -> None:
    chamber = with_locks()
    answer = page(client_of(chamber), chamber, "plan_from_table", table="TT6", tenders="2")
    assert typed(answer.context["roles"])[-1] == ("Inside tender", 2)


def test_a_new_version_keeps_the_crew_of_the_plan_in_force() -> None:
    chamber = with_locks()
    old = plan_of(chamber, table="TT5")
    answer = page(client_of(chamber), chamber, "plan_from_table", table="TT5", old=str(old.pk))
    assert typed(answer.context["roles"]) == [(one["role"], one["count"]) for one in old.roles]
    assert typed(answer.context["emergency"]) == []
    assert "21-5.6.1" not in words_of(answer)
