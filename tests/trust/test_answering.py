"""A fault of the log: it stands on every page of those who are signed in, until somebody says why, and is never forgotten."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility.jobs import tasks
from facility.models import Checkpoint, Event, SiteRole
from facility.trust import answering, checkpoints, copies, faults, looking
from tests import make
from tests.visits.test_findings import client_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("folder")]
CUT = "DELETE FROM facility_event WHERE seq > %s"


@pytest.fixture
def restored(signed: Any, tampering: Any) -> int:
    """An older backup put back: events and heads after event 2 are gone, but the head beside the database is not."""
    make.site()
    size: int = signed().size
    tampering(CUT, 2)
    Checkpoint.objects.all().delete()
    checkpoints.forget()
    return size


def test_a_fault_stands_on_every_page_of_those_who_are_signed_in_and_says_what_to_do(restored: int) -> None:
    looking.check_start()
    client = client_of(make.site(key="skerry"), SiteRole.SUPERVISOR)
    for address in ("/", reverse("readiness:now", args=["skerry"]), reverse("places:people", args=["skerry"])):
        text = client.get(address, follow=True).content.decode()
        assert f"The log is shorter than checkpoint {restored}" in text, address
        assert "what to do is under /box/keys/" in text, address


def test_a_fault_is_not_shown_to_who_is_not_signed_in(restored: int) -> None:
    looking.check_start()
    assert "shorter than checkpoint" not in Client().get(reverse("accounts:login")).content.decode()


def test_the_notice_of_a_fault_costs_no_query(restored: int) -> None:
    client = client_of(make.site(key="skerry"), SiteRole.SUPERVISOR)
    page = reverse("readiness:now", args=["skerry"])
    client.get(page)
    counts = []
    for found in ([], ["The log was changed."]):
        faults.stand(found)
        with CaptureQueriesContext(connection) as asked:
            assert ("The log was changed." in client.get(page).content.decode()) is bool(found)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_while_a_fault_stands_no_head_is_signed_whatever_is_signed_off(restored: int, folder: Path) -> None:
    """Else the next sign-off would write over the one head that shows it."""
    before = (folder / "checkpoint.note").read_bytes()
    make.site()
    with pytest.raises(checkpoints.ContradictionError, match=f"shorter than checkpoint {restored}|not those of"):
        checkpoints.make("check signed")
    assert (folder / "checkpoint.note").read_bytes() == before


def test_a_sign_off_that_meets_the_fault_first_lets_it_stand_and_its_job_does_not_fail(restored: int) -> None:
    count = Event.objects.count()
    for _time in range(2):
        assert f"No head was signed. The log is shorter than checkpoint {restored}" in tasks.checkpoint("check signed")
        assert f"shorter than checkpoint {restored}" in faults.standing()[0]
    assert Event.objects.filter(action="records:head contradicted").count() == 1
    assert Event.objects.count() == count + 1


def test_an_answer_keeps_reason_name_and_head_and_lets_heads_be_signed_again(
    restored: int, signed: Any, folder: Path
) -> None:
    old = (folder / "checkpoint.note").read_text()
    assert answering.answer("Disk lost, backup of two o'clock put back", by=make.BY) == faults.standing() == []
    event = Event.objects.latest("seq")
    told = json.loads(event.payload)
    assert (event.action, event.reason) == (looking.ANSWER, "Disk lost, backup of two o'clock put back")
    assert told["after"]["head"] == old
    assert f"shorter than checkpoint {restored}" in told["after"]["found"]
    assert [path.read_text() for path in folder.glob("checkpoint-answered-*.note")] == [old]
    assert signed().size == Event.objects.count()
    assert looking.check_start() == []


def test_what_was_answered_stays_answered_when_the_same_head_comes_on_a_stick(
    signed: Any, tampering: Any, folder: Path, tmp_path: Path, settings: Any
) -> None:
    make.site()
    signed()
    settings.BACKUP_COPIES = [tmp_path / "stick"]
    (tmp_path / "stick").mkdir()
    copies.write_beside(tmp_path / "stick")
    tampering(CUT, 2)
    answering.answer("put back", by=make.BY)
    assert looking.look() == []
    signed()
    assert looking.check_start() == []
    later = signed()
    assert later.size < Checkpoint.objects.get(why__startswith=checkpoints.ANSWERED).size + 10
    assert checkpoints.newest() == later


def test_an_answered_head_is_still_found_by_who_holds_it_outside(restored: int, folder: Path) -> None:
    old = (folder / "checkpoint.note").read_text()
    answering.answer("put back", by=make.BY)
    assert looking.compare([old]) != []


def test_a_row_that_only_says_it_was_answered_still_contradicts(signed: Any, tampering: Any) -> None:
    """Who has the database file can write that into the row, but the event of an answer is in the chain."""
    make.site()
    row = signed()
    tampering(CUT, 2)
    row.why = f"{checkpoints.ANSWERED}nothing"
    row.save()
    assert f"shorter than checkpoint {row.size}" in looking.look()[0]


def test_a_blank_reason_and_an_answer_to_nothing_are_refused(restored: int) -> None:
    with pytest.raises(ValidationError, match="Give a reason"):
        answering.answer(" ", by=make.BY)
    answering.answer("put back", by=make.BY)
    with pytest.raises(answering.NothingToAnswerError, match="no signed head contradicts"):
        answering.answer("once more", by=make.BY)


def test_a_head_on_a_stick_that_the_log_contradicts_is_named_with_its_place(
    signed: Any, tampering: Any, folder: Path, tmp_path: Path, settings: Any
) -> None:
    """The server's own heads were made anew with its key; the copy outside is what shows it."""
    make.site()
    signed()
    stick = tmp_path / "stick"
    stick.mkdir()
    path = copies.write_beside(stick)
    tampering("UPDATE facility_event SET digest = %s WHERE seq = 1", bytes(32))
    Checkpoint.objects.all().delete()
    (folder / "checkpoint.note").unlink()
    checkpoints.forget()
    signed()
    assert looking.look() == []
    settings.BACKUP_COPIES = [stick, tmp_path / "not-there"]
    (found,) = looking.look()
    assert "not those of checkpoint" in found
    assert str(path) in found


def test_a_head_of_another_box_on_the_same_stick_is_left_alone(
    signed: Any, tmp_path: Path, settings: Any, folder: Path
) -> None:
    signed()
    note = (folder / "checkpoint.note").read_text()
    (tmp_path / "checkpoint-9.note").write_text(note.replace("deepstead/", "deepstead/f"))
    settings.BACKUP_COPIES = [tmp_path]
    assert looking.look() == []
    (tmp_path / "checkpoint-9.note").write_text(note.replace("\u2014", "-"))
    assert "checkpoint-9.note cannot be read" in looking.look()[0]


def test_a_copy_on_a_stick_is_never_written_over_and_stands_beside_what_was_there(signed: Any, tmp_path: Path) -> None:
    row = signed()
    (tmp_path / copies.file_name(row)).write_text("what was there")
    beside = copies.write_beside(tmp_path)
    assert (tmp_path / copies.file_name(row)).read_text() == "what was there"
    assert beside == tmp_path / f"checkpoint-{row.size}-2.note"
    assert beside.read_text() == row.note
    assert [one["where"] for one in Checkpoint.objects.get().copied] == ["folder"]
