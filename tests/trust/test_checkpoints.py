"""Signed heads: made when something was signed, held against the log at each start, copied to where no server reaches."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command

from facility import record_check
from facility.compute import note, tree
from facility.jobs import tasks
from facility.jobs.queue import Kind
from facility.models import Checkpoint, Event, Job, KeyUse
from facility.trust import checkpoints, copies, faults, keys, looking
from tests import make, openssl

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    checkpoints.forget()
    return tmp_path


def digests() -> list[bytes]:
    return [bytes(one) for one in Event.objects.order_by("seq").values_list("digest", flat=True)]


def test_a_head_tells_size_and_root_of_all_events_and_openssl_accepts_its_signature(
    signed: Any, tmp_path: Path
) -> None:
    make.site()
    row = signed()
    told = note.parse(row.note)
    assert (told.size, told.root, told.origin) == (Event.objects.count(), tree.root(digests()), keys.origin())
    log = keys.in_use(KeyUse.LOG)
    assert log is not None
    signature = told.signatures[0][2]
    assert openssl.accepts(tmp_path, told.text.encode(), signature, log.public)
    assert not openssl.accepts(tmp_path, told.text.replace("deepstead", "deepsteed").encode(), signature, log.public)


def test_a_head_of_the_same_size_is_the_one_that_is_there(signed: Any) -> None:
    assert signed("one") == signed("two")
    assert Checkpoint.objects.count() == 1


def test_each_head_continues_the_one_before_whether_the_tree_is_remembered_or_not(signed: Any) -> None:
    first = signed()
    for forget in (False, True):
        make.site()
        if forget:
            checkpoints.forget()
        assert bytes(signed().root) == tree.root(digests())
    sizes = list(Checkpoint.objects.values_list("size", flat=True))
    assert (sizes[0], len(set(sizes))) == (first.size, 3)
    assert looking.check_start() == []


def test_the_second_head_reads_only_what_came_since(signed: Any) -> None:
    signed()
    make.site()
    before = checkpoints._Memory.tree
    assert before is not None
    grown = checkpoints._grown(checkpoints.newest(), Event.objects.count())
    assert (before.size, grown.size) == (2, Event.objects.count())


def test_five_events_cut_off_are_named_at_the_start(signed: Any, tampering: Any) -> None:
    make.site()
    make.site()
    size = signed().size
    tampering("DELETE FROM facility_event WHERE seq > %s", size - 5)
    assert all("Row without event" in fault for fault in record_check.verify().faults)  # the chain looks whole
    for quick in (True, False):
        found = looking.check_start(quick=quick)
        assert f"log is shorter than checkpoint {size}" in found[0]
        size_now = Event.objects.count()
        tampering("DELETE FROM facility_event WHERE seq = %s", size_now)  # what the look itself recorded


def test_an_older_database_put_back_is_named_by_the_head_beside_it(signed: Any, tampering: Any) -> None:
    make.site()
    size = signed().size
    tampering("DELETE FROM facility_event WHERE seq > %s", 2)
    Checkpoint.objects.all().delete()
    assert f"shorter than checkpoint {size}" in looking.check_start()[0]


def test_a_log_built_anew_is_named_and_no_further_head_is_signed(signed: Any, tampering: Any) -> None:
    make.site()
    size = signed().size
    tampering("UPDATE facility_event SET digest = %s WHERE seq = 1", bytes(32))
    checkpoints.forget()
    assert f"first {size} events are not those of checkpoint {size}" in looking.check_start()[0]
    with pytest.raises(checkpoints.ContradictionError, match=f"checkpoint {size}"):
        checkpoints.make("test")
    assert "No head was signed" in tasks.checkpoint()
    assert Checkpoint.objects.count() == 1


def test_a_head_with_the_root_of_a_log_built_anew_is_not_signed_by_this_box(signed: Any, tampering: Any) -> None:
    """Who has the database but not the key can write a new root, but no signature for it."""
    size = signed().size
    tampering("UPDATE facility_event SET digest = %s WHERE seq = 1", bytes(32))
    root = tree.root(digests())
    text = note.checkpoint_text(keys.origin(), size, root)
    row = Checkpoint.objects.get()
    row.root, row.note = root, row.note.replace(note.parse(row.note).text, text)
    row.save()
    assert f"Checkpoint {size} is not signed by a key on record" in looking.check_start()[0]


def test_a_fault_is_recorded_and_stands_until_a_look_finds_nothing(signed: Any, folder: Path) -> None:
    row = signed()
    good = row.note
    row.note = good.replace(note.DASH, "- ")
    row.save()
    assert looking.check_start() == faults.standing() != []
    assert Event.objects.order_by("-seq")[0].action == "records:head contradicted"
    row.note = good
    row.save()
    count = Event.objects.count()
    assert looking.check_start() == faults.standing() == []
    assert Event.objects.count() == count


def test_a_missing_key_stands_on_the_pages_and_stops_nothing(signed: Any, folder: Path) -> None:
    signed()
    (folder / "box-key").unlink()
    assert "box-key" in looking.check_start(quick=True)[0]
    make.site()


def test_a_look_past_a_key_that_was_passed_on_finds_nothing_wrong(
    signed: Any, django_capture_on_commit_callbacks: Any
) -> None:
    signed()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="due")
    signed()
    assert looking.check_start() == []
    signers = [checkpoints.signer(row.note) for row in Checkpoint.objects.all()]
    assert [row.fingerprint for row in signers if row] == [
        key.fingerprint for key in keys.all_public() if key.use == "log"
    ]


def test_signing_asks_for_one_head_and_the_job_makes_it() -> None:
    checkpoints.ask("check signed")
    checkpoints.ask("record of a run signed")
    job = Job.objects.get()
    assert (job.kind, job.arguments) == (Kind.CHECKPOINT, {"why": "check signed"})
    assert "Checkpoint of 2 events" in tasks.KINDS[job.kind](**job.arguments)
    assert Checkpoint.objects.get().why == "check signed"


def test_the_night_mails_the_head_to_the_people_named_and_once(settings: Any, signed: Any) -> None:
    settings.CHECKPOINT_MAIL = ["ina@example.org", "ole@example.org"]
    settings.EMAIL_HOST = "mail.example.org"
    assert "Mailed to 2 people" in tasks.checkpoint()
    assert "Mailed" not in tasks.checkpoint()
    (letter,) = mail.outbox
    row = Checkpoint.objects.get()
    assert letter.to == settings.CHECKPOINT_MAIL
    assert letter.attachments == [(f"checkpoint-{row.size}.note", row.note, "text/plain")]
    assert checkpoints.short_code(bytes(row.root)) in letter.body


def test_a_mail_that_cannot_be_sent_is_said_and_the_head_is_made(settings: Any) -> None:
    settings.CHECKPOINT_MAIL = ["ina@example.org"]
    settings.EMAIL_BACKEND = "facility.notices.mail_backend.Backend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    assert "could not be mailed" in tasks.checkpoint()
    assert Checkpoint.objects.get().copied == []


def test_without_a_mail_server_it_is_said_which_setting_names_one(settings: Any) -> None:
    settings.CHECKPOINT_MAIL, settings.EMAIL_HOST = ["ina@example.org"], ""
    assert "name a mail server in DEEPSTEAD_EMAIL_HOST" in tasks.checkpoint()
    assert mail.outbox == []


def test_a_copy_on_a_stick_is_compared_by_the_command(signed: Any, tmp_path: Path, tampering: Any) -> None:
    make.site()
    signed()
    stick = tmp_path / "stick"
    stick.mkdir()
    path = copies.write_beside(stick)
    assert path is not None
    out = StringIO()
    call_command("check_records", "--checkpoint", str(path), stdout=out)
    assert "Nothing wrong was found" in out.getvalue()
    tampering("UPDATE facility_event SET digest = %s WHERE seq = 1", bytes(32))
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("check_records", "--checkpoint", str(path), stdout=out)
    assert "not those of checkpoint" in out.getvalue()


def test_a_file_that_is_no_head_is_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear Ina,\n")
    with pytest.raises(CommandError, match=r"letter\.txt.*checkpoint-NUMBER\.note"):
        call_command("check_records", "--checkpoint", str(path))
    with pytest.raises(CommandError, match=r"none\.note"):
        call_command("check_records", "--checkpoint", str(tmp_path / "none.note"))


def test_before_the_first_head_there_is_nothing_to_copy(tmp_path: Path) -> None:
    assert copies.write_beside(tmp_path) is None
