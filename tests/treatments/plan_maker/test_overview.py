"""Every table of a site for one party, on one page."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests import make
from tests.treatments.plan_maker.support import client_of, page, with_locks
from treatments.reference import FILES

pytestmark = pytest.mark.django_db


def test_each_table_stands_with_its_longest_run() -> None:
    """Hand sums from the printed totals: descent and extensions added; table 4 with 120 min at 165 fsw."""
    chamber = with_locks()
    lines = {one.found.table.key: one for one in page(client_of(chamber), chamber, "every_table").context["lines"]}
    assert set(lines) == set(FILES)
    lasts = {key: (one.plain.demand.run_min, one.longest.demand.run_min) for key, one in lines.items()}
    assert (lasts["TT5"], lasts["TT6"], lasts["TT6A"]) == ((138, 188), (288, 488), (350, 550))
    assert (lasts["TT9"], lasts["TT4"], lasts["TT1A"]) == ((105, 105), (2436, 2436), (472, 472))
    assert lines["TT4"].longest.amounts[0].needed is None, "oxygen of a tender is not stated on the way up"


def test_more_patients_need_more_of_each_table_that_gives_oxygen() -> None:
    chamber = with_locks(medical=False)
    client = client_of(chamber)
    one, two = (page(client, chamber, "every_table", patients=n).context["lines"] for n in ("1", "2"))
    for less, more in zip(one, two, strict=True):
        assert more.longest.amounts[1].needed >= less.longest.amounts[1].needed
        assert (more.longest.amounts[0].needed or 0) >= (less.longest.amounts[0].needed or 0)


def test_a_party_of_nobody_and_a_chamber_without_locks_say_why() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    lines = page(client, chamber, "every_table", patients="0", tenders="0").context["lines"]
    assert {"at least one person inside" in one.fault for one in lines} == {True}
    bare = make.chamber()
    lines = page(client_of(bare), bare, "every_table").context["lines"]
    assert {"an inner lock with a volume of more than 0" in one.fault for one in lines} == {True}
    refused = page(client, chamber, "every_table", patients="many")
    assert refused.status_code == 422
    assert refused.context["form"]["patients"].value() == "many"


def test_the_page_asks_the_records_no_more_often_for_more_tables() -> None:
    """All thirteen shipped tables: locks and confirmations are fetched once, not table by table."""
    chamber = with_locks()
    client = client_of(chamber)
    page(client, chamber, "every_table")
    with CaptureQueriesContext(connection) as found:
        page(client, chamber, "every_table")
    locks = [one for one in found if 'FROM "facility_lock"' in one["sql"]]
    assert len(locks) == 1
    assert len(found) <= 15
