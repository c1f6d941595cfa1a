"""The short code on a printed paper: found years later, and held against the log as it is now.

The tree and its proofs are those of RFC 6962, section 2.1, and RFC 9162, section 2.1.4; their published vectors are in test_tree.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.compute import tree
from facility.models import Checkpoint, Event
from facility.pack import asking
from facility.trust import checkpoints, containing
from facility.trust.printed import newest_head
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.both, pytest.mark.usefixtures("folder")]


def digests(size: int) -> list[bytes]:
    return [bytes(one) for one in Event.objects.filter(seq__lte=size).order_by("seq").values_list("digest", flat=True)]


def compared(code: str, day: str, **more: Any) -> str:
    answer = Client(**more).post(reverse("pack:code"), {"code": code, "day": day})
    assert answer.status_code == 200, answer.content.decode()
    return " ".join(answer.content.decode().split())


def today() -> str:
    return datetime.now(UTC).date().isoformat()


@pytest.fixture
def two_heads(signed: Any) -> tuple[Checkpoint, Checkpoint]:
    """A head whose code was printed, and a later one."""
    make.site()
    first = signed()
    for _time in range(5):
        make.site()
    return first, signed()


def test_a_printed_code_is_found_and_the_proof_is_that_of_the_standard(
    two_heads: tuple[Checkpoint, Checkpoint],
) -> None:
    first, last = two_heads
    found = containing.find(checkpoints.short_code(bytes(first.root)))
    assert found is not None
    assert (found.head, found.newest, found.contained) == (first, last, True)
    proof = tree.consistency_proof(first.size, digests(last.size))
    assert [bytes.fromhex(one) for one in found.proof] == proof
    assert tree.verify_consistency(first.size, last.size, bytes(first.root), bytes(last.root), proof)


def test_the_newest_head_itself_needs_no_proof(two_heads: tuple[Checkpoint, Checkpoint]) -> None:
    found = containing.find(checkpoints.short_code(bytes(two_heads[1].root)).upper().replace(" ", "-"))
    assert found is not None
    assert (found.contained, found.proof) == (True, ())


@pytest.mark.parametrize("seq", [1, 9])
def test_an_event_changed_since_is_named_though_the_heads_in_the_database_fit_each_other(
    two_heads: tuple[Checkpoint, Checkpoint], tampering: Any, seq: int
) -> None:
    tampering("UPDATE facility_event SET digest = %s WHERE seq = %s", bytes(32), seq)
    found = containing.find(checkpoints.short_code(bytes(two_heads[0].root)))
    assert found is not None
    assert not found.contained


def test_an_end_cut_off_since_is_named(two_heads: tuple[Checkpoint, Checkpoint], tampering: Any) -> None:
    tampering("DELETE FROM facility_event WHERE seq > %s", two_heads[0].size - 1)
    code = checkpoints.short_code(bytes(two_heads[0].root))
    assert "does NOT go on from it" in compared(code, today())


def test_the_page_needs_no_account_and_says_day_key_proof_and_what_is_not_proved(
    two_heads: tuple[Checkpoint, Checkpoint],
) -> None:
    page = compared(checkpoints.short_code(bytes(two_heads[0].root)), today())
    for words in (
        "A head of",
        "the day on the paper",
        "signed by the key",
        "goes on from it",
        "does not prove",
        "RFC 9162",
    ):
        assert words in page
    assert "compliant" not in page.lower()


def test_a_code_of_another_day_or_of_no_head_is_said(two_heads: tuple[Checkpoint, Checkpoint]) -> None:
    code = checkpoints.short_code(bytes(two_heads[0].root))
    assert "the day that was typed" in compared(code, "2020-01-31")
    assert "No signed head with this code" in compared("0" * 32, today())


@pytest.mark.parametrize(
    ("typed", "named"), [("5dc9", "this one has 4"), ("z" * 32, "z is none of them"), ("0" * 33, "this one has 33"), ("", "required")]
)  # fmt: skip
def test_what_is_no_code_is_refused_and_stays_typed(typed: str, named: str) -> None:
    answer = Client().post(reverse("pack:code"), {"code": typed, "day": "2026-03-12"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert named in page
    assert "2026-03-12" in page


def test_one_who_compares_many_codes_is_stopped_for_an_hour_and_others_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    for _time in range(asking.MOST_OF_ONE):
        compared("0" * 32, today(), REMOTE_ADDR="192.0.2.7")
    sent = {"code": "0" * 32, "day": today()}
    refused = Client(REMOTE_ADDR="192.0.2.7").post(reverse("pack:code"), sent)
    assert refused.status_code == 429
    assert "Too many codes" in refused.content.decode()
    assert "0" * 32 in refused.content.decode()
    compared("0" * 32, today(), REMOTE_ADDR="192.0.2.8")
    later = events.now() + timedelta(hours=1, minutes=1)
    monkeypatch.setattr(events, "now", lambda: later)
    compared("0" * 32, today(), REMOTE_ADDR="192.0.2.7")


def test_no_address_is_kept_of_who_asked(folder: Path) -> None:
    compared("0" * 32, today(), REMOTE_ADDR="192.0.2.7")
    assert "192.0.2" not in (folder / "packs" / asking.FILE).read_text()


def test_a_paper_says_the_newest_head_in_one_query(
    two_heads: tuple[Checkpoint, Checkpoint], django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(1):
        printed = newest_head()
    assert printed is not None
    assert (printed.size, printed.code) == (two_heads[1].size, checkpoints.short_code(bytes(two_heads[1].root)))


def test_before_the_first_head_a_paper_says_nothing_and_no_code_is_found() -> None:
    assert newest_head() is None
    assert containing.find("0" * 32) is None
