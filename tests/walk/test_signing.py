"""Signing: what was shown is what is signed, and only once."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from facility import events
from facility.compute.sheets import Typed
from facility.models import Answer, Check, CheckState, Event, Signature
from facility.services import add
from facility.walk import services, signing
from facility.walk.services import AlreadySignedError
from facility.walk.signing import ChangedSinceShownError
from maintenance.models import Defect
from tests import make
from tests.walk.walking import all_good, begin, give, page_of, sign, world

if TYPE_CHECKING:
    from tests.walk.walking import World

pytestmark = pytest.mark.django_db


def test_a_signature_says_who_when_and_what_it_means() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    signed, entry = sign(w, check)
    signature = Signature.objects.get()
    assert (signed.state, signed.result, signed.signed_by) == (CheckState.SIGNED, "passed", str(w.user))
    assert (signature.name, signature.meaning, signature.user) == (str(w.user), "means it", w.user)
    assert Event.objects.get(seq=entry).action == "check signed"


def test_the_digest_is_plain_sha256_over_label_and_text() -> None:
    """hashlib.sha256 (FIPS 180-4) over the text put together here by hand, not by the code under test."""
    w = world(steps=[make.STEPS[0]])
    check = begin(w)
    answer = give(w, check, "door", Typed("good"), note="dry").answer
    found = Check.objects.select_related("version", "sheet").get(pk=check.pk)
    text = json.dumps(
        {
            "check": 1, "sheet": w.sheet.key, "version": 1, "steps": found.version.steps,
            "answers": [["door", "good", "", "", "", "dry", "", "", str(w.user), str(answer.client_id), "counts"]],
        },
        sort_keys=True, ensure_ascii=False, separators=(",", ":"),
    )  # fmt: skip
    wanted = hashlib.sha256(b"deepstead check 1\0" + text.encode()).hexdigest()
    sign(w, check)
    assert Signature.objects.get().shown_sha256 == wanted


def test_of_two_who_sign_the_second_hears_who_was_first() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    shown = page_of(w, check)
    sign(w, check, shown)
    with pytest.raises(AlreadySignedError) as late:
        sign(w, check, shown)
    assert str(w.user) in str(late.value.messages)
    assert Signature.objects.count() == 1


def test_an_answer_between_look_and_signature_refuses_it() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    shown = page_of(w, check)
    give(w, check, "supply", Typed(value="6.9"))
    with pytest.raises(ChangedSinceShownError):
        sign(w, check, shown)
    check.refresh_from_db()
    assert check.state == CheckState.OPEN
    assert not Signature.objects.exists()
    assert sign(w, check)[0].result == "failed"


def test_an_item_tagged_out_between_look_and_signature_refuses_it() -> None:
    w = world(steps=[make.STEPS[0] | {"tag": "IL-D1"}])
    item = make.equipment(w.site, tag="IL-D1")
    check = begin(w)
    give(w, check, "door", Typed("good"))
    shown = page_of(w, check)
    add(Defect(site=w.site, number=1, equipment=item, what="cut", effect="stops", found_at=events.now()), by=w.by)
    with pytest.raises(ChangedSinceShownError):
        sign(w, check, shown)
    assert sign(w, check)[0].state == CheckState.SIGNED


@pytest.mark.parametrize(
    ("left_out", "bad", "result"),
    [((), None, "passed"), ((), "door", "limits"), (("supply",), None, "unread"), ((), "supply", "failed"), (("door",), "supply", "failed")],
)  # fmt: skip
def test_a_check_can_be_signed_as_it_is_and_says_so(left_out: tuple[str, ...], bad: str | None, result: str) -> None:
    w = world()
    check = begin(w)
    all_good(w, check, leave_out=left_out)
    if bad:
        give(w, check, bad, Typed("bad", "6.9" if bad == "supply" else ""))
    assert sign(w, check)[0].result == result


def test_a_check_given_up_is_not_signed() -> None:
    w = world()
    check = begin(w)
    services.give_up(check.pk, reason="called away", site=w.site, by=w.by)
    with pytest.raises(ValidationError, match="given up"):
        sign(w, check)


def test_a_signature_is_void_once_the_content_is_another() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    assert _holds(check)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE facility_answer SET value = '8.9' WHERE step = 'supply'")
    assert not _holds(check)


def _holds(check: Check) -> bool:
    found = Check.objects.select_related("version", "sheet").get(pk=check.pk)
    return signing.holds(Signature.objects.get(), found, signing.answers_of(found))


def test_every_field_of_an_answer_is_under_the_signature() -> None:
    w: World = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    found = Check.objects.select_related("version", "sheet").get(pk=check.pk)
    for field in ("step", "outcome", "value", "unit", "choice", "note", "second_person", "recorded_by"):
        answers = signing.answers_of(found)
        setattr(answers[0], field, "other")
        assert not signing.holds(Signature.objects.get(), found, answers), field
    assert not signing.holds(Signature.objects.get(), found, signing.answers_of(found)[1:])
    assert Answer.objects.count() == 4
