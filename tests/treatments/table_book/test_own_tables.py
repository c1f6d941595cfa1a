"""A site's own table: proposed by one, approved by another; in force it is never edited."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility.models import Event, Site
from tests import make
from tests.treatments.table_book.support import PARTS, ROWS, actor, director, signed_in, typed
from treatments.compute.tables import TableError
from treatments.models import SiteTable
from treatments.table_book.services import approve, propose, withdraw
from treatments.table_book.tables import NoSuchTableError, as_in_force, table_for

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make.site()


def proposed(site: Site, by: str = "Ina") -> SiteTable:
    return propose(site, "house-oxygen", PARTS, "house book, page 3", by=actor(director(site, by)))


def approved(row: SiteTable, by: str = "Olav") -> SiteTable:
    return approve(row, shown_digest=as_in_force(row).digest, by=actor(director(row.site, by)))


def test_a_proposal_counts_only_once_another_person_approved_it(site: Site) -> None:
    row = proposed(site)
    with pytest.raises(NoSuchTableError, match="house-oxygen"):
        table_for(site, "house-oxygen")
    approved(row)
    found = table_for(site, "house-oxygen")
    assert (found.version, found.standing, found.table.segments[0].minutes) == (1, "site", 30)
    with pytest.raises(NoSuchTableError):
        table_for(make.site(), "house-oxygen")


def test_nobody_approves_their_own_table_nor_with_a_second_account(site: Site) -> None:
    who = director(site)
    row = propose(site, "house-oxygen", PARTS, "house book", by=actor(who))
    for same in (who, director(site)):
        with pytest.raises(ValidationError, match="Another person must approve it"):
            approve(row, shown_digest=as_in_force(row).digest, by=actor(same))
    assert SiteTable.objects.get().approved_at is None


def test_a_new_version_takes_the_place_of_the_one_in_force_which_stays_as_it_was(site: Site) -> None:
    first = approved(proposed(site))
    longer = PARTS | {"segments": [[33, 33, 40, "O2"], *PARTS["segments"][1:]], "total": 86}
    second = propose(site, "house-oxygen", longer, "house book, page 4", by=actor(director(site)))
    assert table_for(site, "house-oxygen").version == 1
    approved(second)
    assert table_for(site, "house-oxygen").version == 2
    first.refresh_from_db()
    assert first.parts == PARTS
    assert "Version 2" in first.retired_reason
    actions = list(Event.objects.order_by("-seq").values_list("action", flat=True)[:2])
    assert actions == ["table put in force", "table taken out of force"]


def test_one_proposal_waits_at_a_time_and_is_approved_once(site: Site) -> None:
    row = proposed(site)
    with pytest.raises(ValidationError, match="still waits"):
        proposed(site)
    approved(row)
    with pytest.raises(ValidationError, match="no longer waits"):
        approved(row, "Kari")


def test_the_key_of_a_shipped_table_and_one_with_capitals_are_refused(site: Site) -> None:
    who = actor(director(site))
    with pytest.raises(ValidationError, match="shipped table"):
        propose(site, "tt6", PARTS, "x", by=who)
    with pytest.raises(ValidationError, match="small letters"):
        propose(site, "House", PARTS, "x", by=who)


def test_rows_that_do_not_add_up_to_the_printed_total_are_refused(site: Site) -> None:
    with pytest.raises(TableError, match="76 min, the sum"):
        propose(site, "house-oxygen", PARTS | {"total": 75}, "x", by=actor(director(site)))


def test_a_table_taken_out_of_force_no_longer_counts(site: Site) -> None:
    row = approved(proposed(site))
    withdraw(row, reason="not used", by=make.BY)
    with pytest.raises(NoSuchTableError):
        table_for(site, "house-oxygen")


def test_the_editor_proposes_and_the_second_person_approves_with_the_password(site: Site) -> None:
    first, second = signed_in(director(site)), signed_in(director(site, "Olav", "Dahl"))
    sent = first.post(reverse("treatments:new_table", args=[site.key]), typed())
    assert sent.status_code == 302
    row = SiteTable.objects.get()
    assert as_in_force(row).table.extensions[0].segments[1].minutes == 30
    address = reverse("treatments:approve_table", args=[site.key, row.pk])
    assert "Another person must approve it" in first.get(address).content.decode()
    shown = {"shown": as_in_force(row).digest}
    assert first.post(address, shown | {"password": make.PASSWORD}).status_code == 422
    assert second.post(address, shown | {"password": "wrong"}).status_code == 422
    assert second.post(address, {"shown": "0" * 64, "password": make.PASSWORD}).status_code == 422
    assert second.post(address, shown | {"password": make.PASSWORD}).status_code == 302
    page = second.get(reverse("treatments:table", args=[site.key, "house-oxygen"])).content.decode()
    assert "approved by Olav Dahl" in page
    assert second.post(reverse("treatments:withdraw_table", args=[site.key, row.pk]), {"reason": ""}).status_code == 422
    gone = second.post(reverse("treatments:withdraw_table", args=[site.key, row.pk]), {"reason": "not used"})
    assert gone.status_code == 302
    past = second.get(reverse("treatments:table", args=[site.key, "house-oxygen"])).content.decode()
    assert "Not in force" in past
    assert "not used" in past


@pytest.mark.parametrize(
    ("rows", "more", "field", "says"),
    [
        ([*ROWS[:2], ("30", "33", "30", "O2"), ROWS[3]], {}, "row-2-start", "33, where the one before ends"),
        ([*ROWS[:3], ("33", "10", "11", "O2")], {}, "row-3-end", "0, the surface"),
        ([*ROWS[:3], ("33", "0", "", "O2")], {}, "row-3-minutes", "filled in part"),
        ([("33", "33", "0", "O2"), *ROWS[1:]], {}, "row-0-minutes", "more than 0"),
        ([("33", "33", "1.000,5", "O2"), *ROWS[1:]], {}, "row-0-minutes", "thousand separator"),
        (ROWS, {"total": "75"}, "total", "76 min, the sum"),
        (ROWS, {"descent_rate": "0"}, "descent_rate", "more than 0"),
        (ROWS, {"descent_to": "401"}, "descent_to", "400"),
        (ROWS, {"clock": "noon"}, "clock", "noon"),
        (ROWS, {"extension-0-depth": "20"}, "extension-0-depth", "a depth at which the table has a stop"),
        (ROWS, {"extension-0-gas_2": ""}, "extension-0-minutes_2", "belong together"),
        (ROWS, {"most": "40"}, "least", "shortest first stop"),
        (ROWS, {"key": "TT6"}, "key", "small letters"),
        (ROWS, {"source": ""}, "source", "required"),
    ],
)
def test_what_makes_no_sense_is_refused_beside_its_field_and_nothing_typed_is_lost(
    site: Site, rows: list[tuple[str, str, str, str]], more: dict[str, str], field: str, says: str
) -> None:
    client = signed_in(director(site))
    answer = client.post(reverse("treatments:new_table", args=[site.key]), typed(rows, **more))
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "house book, page 3" in text or field == "source"
    prefix, _dash, rest = field.partition("-")
    context = answer.context
    if rest:
        place, _dash, name = rest.partition("-")
        errors = context["rows" if prefix == "row" else "extensions"].forms[int(place)].errors
    else:
        name, errors = field, context["form"].errors
    assert says in " ".join(errors[name]), errors
    assert SiteTable.objects.count() == 0


def test_more_empty_rows_keep_what_was_typed_and_a_copy_starts_from_a_shipped_table(site: Site) -> None:
    client = signed_in(director(site))
    address = reverse("treatments:new_table", args=[site.key])
    more = client.post(address, typed() | {"more": "1"})
    assert more.status_code == 200
    assert len(more.context["rows"].forms) == len(ROWS) + 1 + 6
    copied = client.get(address, {"from": "TT7"})
    assert copied.context["rows"].forms[0].initial == {"start": "60", "end": "60", "minutes": "720", "gas": "AIR"}
    assert client.get(reverse("treatments:edit_table", args=[site.key, "TT6"])).status_code == 404


def test_only_who_may_change_rules_edits_tables(site: Site) -> None:
    row = proposed(site)
    for role in ("supervisor", "physician", "tender", "inspector"):
        client = signed_in(make.user(site, role))
        for address in (
            reverse("treatments:new_table", args=[site.key]),
            reverse("treatments:approve_table", args=[site.key, row.pk]),
            reverse("treatments:withdraw_table", args=[site.key, row.pk]),
        ):
            assert client.get(address).status_code == 403, (role, address)
    stranger = signed_in(director(other := make.site()))
    assert stranger.get(reverse("treatments:approve_table", args=[other.key, row.pk])).status_code == 404
