"""Verifying a pack in the app: by a page without an account and by a command; three statements, each for itself."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import Job
from facility.pack import building, checking, layout, uploads, wording
from tests import make
from tests.pack.forging import FINGERPRINT, sign_anew
from tests.pack.kit import built, opened
from tests.pack.test_pages import run_next

if TYPE_CHECKING:
    from django.http import HttpResponse

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]


def sent(path: Path, **more: str) -> HttpResponse:
    """Send a file to be verified, without an account, and follow to what was found."""
    upload = SimpleUploadedFile(path.name, path.read_bytes(), "application/zip")
    return Client().post(reverse("pack:verify"), {"pack": upload, **more}, follow=True)  # type: ignore[return-value]  # a response


def test_anybody_verifies_a_pack_and_reads_three_statements_and_what_is_not_proved(folder: Path) -> None:
    path = building.path_of(built(make.site()))
    page = sent(path).content.decode()
    assert page.count('<span class="fig">holds</span>') == 3
    assert all(words in page for words in ("files are unchanged", "belong to the log", "signed by the key"))
    assert all(words.split(":")[0].replace("'", "&#x27;") in page for words in wording.not_proved())
    assert "compliant" not in page.lower()
    assert re.search(r"made \d{1,2} [A-Z][a-z]{2} \d{4} \d\d:\d\d \(UTC\)", page)
    assert not list((folder / "packs" / uploads.FOLDER).glob("*/*.zip"))


def test_a_changed_file_is_named_on_the_page(tmp_path: Path) -> None:
    root = opened(built(make.site()), tmp_path)
    (root / "data" / "due.ics").write_bytes(b"other")
    page = sent(Path(shutil.make_archive(str(tmp_path / "again"), "zip", tmp_path, root.name))).content.decode()
    assert "does not hold" in page
    assert "data/due.ics" in page


def test_what_is_no_pack_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"%PDF-1.7")
    page = sent(tmp_path / "a.zip").content.decode()
    assert "was not opened" in page
    assert "no zip that can be read" in page
    assert Client().post(reverse("pack:verify"), {}).status_code == 422


def test_a_file_beyond_the_limit_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "MOST_BYTES", 1000)
    upload = SimpleUploadedFile("a.zip", os.urandom(100_000))
    answer = Client().post(reverse("pack:verify"), {"pack": upload})
    assert answer.status_code == 413
    assert "verify.html" in answer.content.decode()


def test_one_who_sends_many_files_is_stopped_for_an_hour_and_others_are_not() -> None:
    def status(address: str) -> int:
        upload = SimpleUploadedFile("a.zip", b"no zip")
        return Client(REMOTE_ADDR=address).post(reverse("pack:verify"), {"pack": upload}).status_code

    assert [status("192.0.2.1") for _turn in range(13)] == [302] * 12 + [429]
    assert status("192.0.2.2") == 302


def test_a_large_file_is_looked_at_by_a_job(monkeypatch: pytest.MonkeyPatch) -> None:
    path = building.path_of(built(make.site()))
    monkeypatch.setattr(uploads, "AT_ONCE_BYTES", 100)
    upload = SimpleUploadedFile("a.zip", path.read_bytes())
    answer = Client().post(reverse("pack:verify"), {"pack": upload})
    assert "is being looked at" in Client().get(answer.headers["Location"]).content.decode()
    assert Job.objects.get(kind="check_pack").finished_at is None
    run_next()
    assert Client().get(answer.headers["Location"]).content.decode().count("holds</span>") == 3


def test_a_result_is_kept_for_a_day_and_found_only_by_its_token() -> None:
    token = uploads.take(SimpleUploadedFile("a.zip", b"no zip"), "192.0.2.7")
    assert Client().get(reverse("pack:verified", args=[token])).status_code == 200
    assert Client().get(reverse("pack:verified", args=["0" * 8 + "-" + "0" * 32])).status_code == 404
    assert Client().get(reverse("pack:verified", args=["unfinished"])).status_code == 404
    old = events.now().timestamp() - 25 * 3600
    os.utime(uploads.place() / token, (old, old))
    assert uploads.tidy() == 1
    assert Client().get(reverse("pack:verified", args=[token])).status_code == 404


def test_a_later_pack_continues_an_earlier_one_and_a_strange_one_does_not(tmp_path: Path) -> None:
    site = make.site()
    first, second = built(site), built(site)
    outcome = checking.check(building.path_of(second), building.path_of(first))
    assert (outcome.code, len(outcome.statements)) == (checking.HOLDS, 7)
    turned = checking.check(building.path_of(first), building.path_of(second))
    assert turned.code == checking.WRONG
    assert "the older head tells of" in turned.statements[-1].problems[0][1]
    root = opened(first, tmp_path)
    leaves = (root / layout.LEAVES).read_text().split()
    (root / layout.LEAVES).write_text("\n".join(["0" * 64, *leaves[1:]]) + "\n")
    sign_anew(root)
    outcome = checking.check(building.path_of(second), root)
    assert outcome.code == checking.WRONG
    assert [words for _member, words in outcome.statements[-1].problems] == [
        f"does not go on from the older head of {len(leaves)} events",
        "is not signed by a key in data/keys.json",
        "Event 1 is another than in the older pack.",
    ]


def test_a_head_that_was_mailed_is_enough_to_tell_whether_a_later_pack_goes_on_from_it(tmp_path: Path) -> None:
    site = make.site()
    first, second = built(site), built(site)
    head = tmp_path / "checkpoint-7.note"
    head.write_bytes((opened(first, tmp_path / "a") / layout.HEAD).read_bytes())
    outcome = checking.check(building.path_of(second), head)
    assert (outcome.code, len(outcome.statements)) == (checking.HOLDS, 4)
    assert "goes on from the older pack or signed head" in wording.lines(outcome)[-1].title
    later = tmp_path / "later.note"
    later.write_bytes((opened(second, tmp_path / "b") / layout.HEAD).read_bytes())
    outcome = checking.check(building.path_of(first), later)
    assert outcome.code == checking.WRONG
    assert "the older head tells of" in outcome.statements[-1].problems[0][1]


def test_an_older_file_that_is_none_is_not_checked_and_the_pack_is_told_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear Ina,")
    outcome = checking.check(building.path_of(built(make.site())), tmp_path / "letter.txt")
    assert outcome.code == checking.NOT_CHECKED
    assert [one.holds for one in outcome.statements] == [True, True, True, None]
    assert "no zip that can be read" in outcome.statements[-1].problems[0][1]


def grouped(fingerprint: str) -> str:
    """Return a fingerprint as the wall sheet has it, in groups of four."""
    return " ".join(fingerprint[at : at + 4] for at in range(0, 64, 4))


@pytest.fixture
def forged(tmp_path: Path) -> tuple[Path, str]:
    """Return a pack whose calendar somebody changed and signed with their own key, and the fingerprint it still names."""
    root = opened(built(make.site()), tmp_path / "forged")
    named = json.loads((root / layout.ABOUT).read_text())["fingerprint"]
    assert named in (root / layout.README).read_text()
    (root / layout.DUE).write_bytes(b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")
    sign_anew(root)
    return root, named


def test_the_key_that_is_told_is_the_one_that_signed_and_not_the_one_that_the_pack_names(
    forged: tuple[Path, str], tmp_path: Path, capsys: Any
) -> None:
    root, named = forged
    page = sent(Path(shutil.make_archive(str(tmp_path / "again"), "zip", root.parent, root.name))).content.decode()
    assert grouped(FINGERPRINT) in page
    assert grouped(named) not in page
    assert named not in page
    call_command("verify_pack", str(root))
    told = capsys.readouterr().out
    assert f"key that signed: {FINGERPRINT}" in told
    assert named not in told


def test_the_fingerprint_of_the_wall_sheet_is_asked_of_command_and_page(
    forged: tuple[Path, str], tmp_path: Path, capsys: Any
) -> None:
    root, named = forged
    with pytest.raises(SystemExit) as ended:
        call_command("verify_pack", str(root), "--key", named.upper())
    assert ended.value.code == checking.WRONG
    assert "not by the key asked for" in capsys.readouterr().out
    call_command("verify_pack", str(root), "--key", FINGERPRINT)
    archive = Path(shutil.make_archive(str(tmp_path / "again"), "zip", root.parent, root.name))
    assert "not by the key asked for" in sent(archive, fingerprint=grouped(named)).content.decode()
    assert sent(archive, fingerprint=FINGERPRINT).content.decode().count("holds</span>") == 3
    refused = sent(archive, fingerprint="abc")
    assert refused.status_code == 422
    assert "“abc” has 3 characters" in refused.content.decode()
    with pytest.raises(CommandError, match="has 3 characters"):
        call_command("verify_pack", str(root), "--key", "abc")


def test_the_command_ends_with_0_1_or_2(tmp_path: Path, capsys: Any) -> None:
    root = opened(built(make.site()), tmp_path)
    call_command("verify_pack", str(root))
    (root / "data" / "pack.json").write_text("{}")
    with pytest.raises(SystemExit) as ended:
        call_command("verify_pack", str(root))
    assert ended.value.code == 1
    assert "data/pack.json" in capsys.readouterr().out
    with pytest.raises(CommandError) as missing:
        call_command("verify_pack", str(tmp_path / "nothing"))
    assert missing.value.returncode == 2
    (tmp_path / "a.zip").write_bytes(b"PK")
    with pytest.raises(SystemExit) as refused:
        call_command("verify_pack", str(tmp_path / "a.zip"))
    assert refused.value.code == 1


@pytest.mark.parametrize(
    "said",
    [{"made_at": "9999-12-31T23:59:59-14:00"}, {"made_at": "0001-01-01T00:00:00+14:00"}, {"site_name": "\ud800"}],
)  # fmt: skip
def test_what_a_forged_pack_says_of_itself_breaks_no_page(tmp_path: Path, said: dict[str, str]) -> None:
    """A time without a place in UTC, and half of a character (RFC 8259 section 8.2)."""
    root = opened(built(make.site()), tmp_path)
    about = root / layout.ABOUT
    about.write_text(json.dumps(json.loads(about.read_text(encoding="utf-8")) | said), encoding="utf-8")
    page = sent(Path(shutil.make_archive(str(tmp_path / "again"), "zip", tmp_path, root.name)))
    assert page.status_code == 200
    assert "does not hold" in page.content.decode()
