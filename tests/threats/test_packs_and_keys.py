"""Threats to packs, to what leaves in them, and to the keys: each test is named after the threat."""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import stat
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from facility import box_key, record_check, services, triggers
from facility.backup import making
from facility.backup.faults import BackupError
from facility.backup.keys import Key
from facility.backup.opening import opened as opened_backup
from facility.models import Event, KeyUse, SiteRole
from facility.pack import layout, uploads
from facility.trust import checkpoints, faults, keys, looking
from tests import make
from tests.backup.kit import KEY
from tests.pack.conftest import _short_report, folder
from tests.pack.filling import fill
from tests.pack.kit import built, opened
from tests.pack.test_fields import may_leave, words_in
from tests.pack.test_unpacking import link, made, raw_name
from tests.visits.test_findings import client_of

__all__ = ["_short_report", "folder"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("folder", "_short_report")]


def verified(root: Path, *arguments: str) -> tuple[int, str]:
    """Run the program in a pack as a stranger does; return its exit code and what it said."""
    line = [sys.executable, "-I", "-S", str(root / "verify.py"), *arguments]
    done = subprocess.run(line, cwd=root, env={}, capture_output=True, text=True, check=False, timeout=60)
    return done.returncode, done.stdout + done.stderr


def test_patient_identity_in_export_no_planted_word_is_in_any_byte_name_or_paper_of_a_pack(tmp_path: Path) -> None:
    """Every text field of every record holds a word of its own; of what is kept back none is found after unzipping."""
    filled = fill()
    root = opened(built(filled.site), tmp_path / "open")
    found = words_in(root)
    assert filled.words["maintenance.Defect.what"] in found, "the search sees what may leave"
    kept = {word for place, word in filled.words.items() if word not in may_leave(filled)}
    assert kept & found == set()
    identity = {
        place for place in filled.words if place.startswith(("treatments.Patient.", "treatments.ClinicalText."))
    }
    assert len(identity) > 2
    assert not {filled.words[place] for place in identity} & found
    assert not [path for path in root.rglob("*") if "Qm" in path.name]


def test_patient_identity_in_export_leaves_only_with_recipient_and_ground_in_the_log() -> None:
    pack = built(make.site(), recipient="Ada Test", ground="Code, 7")
    told = [json.loads(event.payload) for event in Event.objects.filter(subject_kind="facility.pack")]
    handed = {(one["after"].get("recipient"), one["after"].get("ground")) for one in told}
    assert ("Ada Test", "Code, 7") in handed
    assert pack.number


def test_failed_calibration_deleted_in_the_app_still_stands_in_a_pack_with_its_reason(tmp_path: Path) -> None:
    """There is no way that deletes: what no longer counts leaves the house with what it said, when, and why."""
    row = make.work(make.rule(), date(2026, 3, 1), result="failed")
    services.retire(row, by=make.BY, reason="read on the wrong gauge")
    root = opened(built(row.equipment.site), tmp_path / "open")
    lines = [json.loads(line) for line in (root / layout.TABLES / "work.jsonl").read_text("utf-8").splitlines()]
    (told,) = (line for line in lines if str(line["id"]) == str(row.pk))
    assert (told["result"], told["retired_reason"]) == ("failed", "read on the wrong gauge")
    assert told["retired_at"]
    assert "read on the wrong gauge" in (root / layout.EVENTS).read_text("utf-8")


@pytest.mark.parametrize("name", ["../out.txt", "/out.txt", "C:\\out.txt", "pack/../../out.txt", "pack\\..\\out.txt"])
def test_path_traversal_in_zip_sent_to_be_verified_writes_nothing_outside(
    name: str, tmp_path: Path, folder: Path
) -> None:
    crafted = made(tmp_path / "a.zip", ("pack/ok.txt", b"1"), (raw_name(name), b"outside"))
    assert "was not opened" in _sent(crafted)
    assert not [path for path in tmp_path.rglob("*") if path.is_file() and path.read_bytes() == b"outside"]
    assert not Path("/out.txt").exists()


@pytest.mark.parametrize("kind", ["link", "twice"])
def test_path_traversal_in_zip_by_a_link_or_a_double_is_refused(kind: str, tmp_path: Path) -> None:
    members: dict[str, list[Any]] = {
        "link": [("pack/a", b"1"), (link("pack/out"), b"/etc/passwd")],
        "twice": [("pack/a", b"1"), ("pack/A", b"2")],
    }
    page = _sent(made(tmp_path / "a.zip", *members[kind]))
    assert "was not opened" in page
    assert "root:" not in page


def test_path_traversal_in_zip_that_is_a_bomb_is_left_to_a_job_and_refused_there(tmp_path: Path, folder: Path) -> None:
    """64 MiB of nothing in 64 KiB: no page unpacks it, and the job refuses it by its sizes before it is opened."""
    crafted = made(tmp_path / "a.zip", ("pack/a", bytes(64 * 1024 * 1024)))
    assert crafted.stat().st_size < 128 * 1024
    assert "is being looked at" in _sent(crafted)
    (kept,) = (one for one in (folder / "packs" / uploads.FOLDER).iterdir() if one.is_dir())
    uploads.look(kept.name)
    outcome = uploads.result_of(kept.name)
    assert outcome is not None
    assert "pack/a" in outcome.refused


def _sent(path: Path) -> str:
    upload = SimpleUploadedFile(path.name, path.read_bytes(), "application/zip")
    return Client().post(reverse("pack:verify"), {"pack": upload}, follow=True).content.decode()


def test_path_traversal_in_the_list_of_a_pack_reads_nothing_outside(tmp_path: Path) -> None:
    """A list that names a file outside is wrong by that line, even where the digest of the file outside is right."""
    root = opened(built(make.site()), tmp_path / "open")
    secret = tmp_path / "open" / "secret.txt"
    secret.write_text("outside")
    line = f"{hashlib.sha256(b'outside').hexdigest()}  data/../../secret.txt\n"
    with (root / layout.MANIFEST).open("a") as file:
        file.write(line)
    code, told = verified(root)
    assert code == 1
    assert "a line that cannot be" in told
    assert "secret.txt: was changed" not in told


def test_key_theft_the_private_files_are_readable_by_their_owner_alone_and_leave_with_nothing(
    folder: Path, tmp_path: Path
) -> None:
    keys.ensure()
    names = ("box-key", "seal-key", "seal-cert.pem")
    assert {stat.S_IMODE((folder / name).stat().st_mode) for name in names} == {0o600}
    raw = (folder / "box-key").read_bytes()
    seal = b"".join((folder / "seal-key").read_bytes().splitlines()[1:-1])
    root = opened(built(make.site()), tmp_path / "open")
    making.make(tmp_path / "backup", KEY, by=make.BY)
    for path in [*root.rglob("*"), *(tmp_path / "backup").iterdir()]:
        content = path.read_bytes() if path.is_file() else b""
        for secret in (raw, raw.hex().encode(), base64.b64encode(raw), seal[:40]):
            assert secret not in content, path.name


def test_key_theft_is_answered_by_a_new_key_and_old_packs_still_verify(tmp_path: Path) -> None:
    site = make.site()
    old = opened(built(site), tmp_path / "old")
    stolen = keys.in_use(KeyUse.LOG)
    assert stolen is not None
    keys.rotate(KeyUse.LOG, by=make.BY, reason="stolen")
    new = opened(built(site), tmp_path / "new")
    assert verified(old)[0] == verified(old, "--key", stolen.fingerprint)[0] == 0
    assert verified(new, "--key", stolen.fingerprint, "--older", str(old))[0] == 0
    assert box_key.fingerprint(box_key.public_key()) != stolen.fingerprint


def test_key_theft_a_pack_by_another_key_does_not_pass_for_this_box(tmp_path: Path, settings: Any) -> None:
    """A thief of nothing but the program builds a pack of their own: whole in itself, and not by the posted fingerprint."""
    keys.ensure()
    posted = keys.in_use(KeyUse.LOG)
    assert posted is not None
    root = opened(built(make.site()), tmp_path / "open")
    assert verified(root, "--key", posted.fingerprint)[0] == 0
    code, told = verified(root, "--key", hashlib.sha256(b"another").hexdigest())
    assert code == 1
    assert "not by the key asked for" in told


def test_key_loss_is_named_on_every_page_signs_nothing_and_stops_no_record(folder: Path) -> None:
    site = make.site()
    checkpoints.make("test")
    (folder / "box-key").unlink()
    looking.check_start(quick=True)
    assert "box-key" in faults.standing()[0]
    page = client_of(site, SiteRole.SUPERVISOR).get(reverse("places:people", args=[site.key]))
    assert "Put these files back from a backup" in page.content.decode()
    with pytest.raises(keys.KeyFaultError):
        checkpoints.make("test")
    assert not (folder / "box-key").exists()
    make.equipment(site)
    assert record_check.verify().ok


def test_old_backup_put_back_is_named_at_the_start_and_by_a_pack_that_somebody_holds(
    tmp_path: Path, folder: Path
) -> None:
    """The log is cut to an earlier day, its heads too: the one beside the database, and the older pack, contradict."""
    site = make.site()
    early = Event.objects.count()
    for _time in range(5):
        make.equipment(site)
    held = opened(built(site), tmp_path / "held")
    size = len((held / layout.LEAVES).read_text().split())
    _cut(early)
    assert f"log is shorter than checkpoint {size}" in looking.check_start()[0]
    (folder / checkpoints.NEWEST).unlink()
    checkpoints.forget()
    assert looking.look() == [], "who takes away that file too leaves nothing to find here"
    code, told = verified(opened(built(site), tmp_path / "new"), "--older", str(held))
    assert code == 1
    assert "the older head tells of" in told or "does not go on from the older head" in told


def test_tail_cut_of_five_events_is_named_at_the_start_with_the_checkpoint() -> None:
    make.site()
    make.site()
    size = checkpoints.make("test").size
    triggers.drop()
    Event.objects.filter(seq__gt=size - 5)._raw_delete("default")
    triggers.ensure()
    assert f"log is shorter than checkpoint {size}" in looking.check_start(quick=True)[0]


def _cut(last: int) -> None:
    from django.db import connection

    triggers.drop()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM facility_pack")
        cursor.execute("DELETE FROM facility_checkpoint")
        cursor.execute("DELETE FROM facility_event WHERE seq > %s", [last])
    triggers.ensure()


def test_insider_with_the_database_file_and_the_key_is_found_by_who_holds_an_older_pack(tmp_path: Path) -> None:
    """The honest limit: whoever has both can build everything anew that is later than the newest copy outside, nothing before."""
    site = make.site()
    held = opened(built(site), tmp_path / "held")
    forged = shutil.copytree(held, tmp_path / "forged")
    leaves = (forged / layout.LEAVES).read_text().split()
    (forged / layout.LEAVES).write_text("".join(f"{one}\n" for one in ["0" * 64, *leaves[1:]]))
    code, told = verified(forged, "--older", str(held))
    assert code == 1
    assert "does not go on from the older head" in told


def test_lost_or_stolen_backup_opens_with_its_own_key_alone(tmp_path: Path) -> None:
    make.site()
    path = making.make(tmp_path, KEY, by=make.BY).path
    with opened_backup(path, KEY, near=tmp_path) as archive:
        assert archive.manifest.events
    with pytest.raises(BackupError), opened_backup(path, Key(bytes(32)), near=tmp_path):
        pass


def test_dependency_swap_another_wheel_under_the_same_name_and_number_is_not_installed(tmp_path: Path) -> None:
    """The installer itself refuses it: pip in the mode that set-up uses, without a network."""
    wheel = tmp_path / "harmless-1.0-py3-none-any.whl"
    for content in (b"good = True\n", b"good = False\n"):
        with zipfile.ZipFile(wheel, "w") as archive:
            archive.writestr("harmless.py", content)
            archive.writestr("harmless-1.0.dist-info/METADATA", "Metadata-Version: 2.1\nName: harmless\nVersion: 1.0\n")
            archive.writestr(
                "harmless-1.0.dist-info/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
            )
            archive.writestr("harmless-1.0.dist-info/RECORD", "")
        if content == b"good = True\n":
            digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
            assert _installed(tmp_path, digest, "first").returncode == 0
    refused = _installed(tmp_path, digest, "second")
    assert refused.returncode != 0
    assert "DO NOT MATCH THE HASHES" in refused.stderr
    assert not (tmp_path / "second" / "harmless.py").exists()


def _installed(place: Path, digest: str, target: str) -> subprocess.CompletedProcess[str]:
    (place / "requirements.txt").write_text(f"harmless==1.0 --hash=sha256:{digest}\n")
    line = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input", "--no-index",
            "--no-deps", "--find-links", str(place), "--require-hashes", "-r", "requirements.txt", "--target", target]  # fmt: skip
    return subprocess.run(line, cwd=place, capture_output=True, text=True, check=False, timeout=120)
