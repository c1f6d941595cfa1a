"""A lost key: a new one can be begun, and that nobody signed it on is said everywhere. Signatures by another library."""

from __future__ import annotations

import base64
import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command

from facility import box_key
from facility.models import Event, KeyUse, SigningKey
from facility.trust import anew, chain, checkpoints, keyfiles, keys, looking
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("folder")]


@pytest.fixture
def begin(django_capture_on_commit_callbacks: Any) -> Any:
    """Return what begins a key anew to its end, as outside a test's own transaction."""

    def begin_one(use: str, reason: str = "the disk burnt") -> SigningKey:
        with django_capture_on_commit_callbacks(execute=True):
            return anew.begin(use, by=make.BY, reason=reason)

    return begin_one


def test_a_lost_key_of_the_log_has_a_successor_that_only_itself_signed(begin: Any, folder: Path) -> None:
    keys.ensure()
    origin = keys.origin()
    (folder / "box-key").unlink()
    made = begin(KeyUse.LOG)
    old, new = (key for key in keys.all_public() if key.use == "log")
    told = new.passed_on
    assert told is not None
    assert set(told) == {"text", "broken", "new_signature"}
    assert f"old: {old.fingerprint}\nnew: {new.fingerprint}\n" in told["text"]
    assert "chain: broken here, the old key was lost\n" in told["text"]
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(new.public_hex))
    public.verify(base64.b64decode(told["new_signature"]), keys.LABEL + b"\0" + told["text"].encode())
    assert box_key.fingerprint(box_key.public_key()) == new.fingerprint == made.fingerprint
    assert keys.origin() == origin


def test_that_the_chain_is_broken_is_an_event_of_its_own_beside_those_of_both_keys(begin: Any, folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").unlink()
    begin(KeyUse.LOG)
    last = list(Event.objects.order_by("-seq")[:3])
    assert [one.action for one in last] == [anew.BROKEN, "key put in use, chain broken", "key lost"]
    assert {one.reason for one in last} == {"the disk burnt"}
    old, new = (key for key in keys.all_public() if key.use == "log")
    assert json.loads(last[0].payload)["after"] == {"use": "log", "lost": old.fingerprint, "new": new.fingerprint}


def test_what_the_lost_key_signed_stays_good_and_heads_go_on(begin: Any, signed: Any, folder: Path) -> None:
    first = signed()
    (folder / "box-key").unlink()
    begin(KeyUse.LOG)
    second = signed()
    signers = [checkpoints.signer(row.note) for row in (first, second)]
    assert [one.fingerprint for one in signers if one] == [
        one.fingerprint for one in keys.all_public() if one.use == "log"
    ]
    assert looking.check_start() == []


def test_a_key_that_is_here_is_passed_on_and_never_begun_anew(begin: Any) -> None:
    keys.ensure()
    with pytest.raises(anew.KeyIsHereError, match="Pass it on instead"):
        begin(KeyUse.LOG)
    with pytest.raises(anew.KeyIsHereError, match="Pass it on instead"):
        begin(KeyUse.SEAL)
    assert SigningKey.objects.count() == 2


def test_a_blank_reason_begins_nothing(begin: Any, folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").unlink()
    with pytest.raises(ValidationError, match="Give a reason"):
        begin(KeyUse.LOG, " ")
    assert not list(folder.glob("box-key*"))


def test_before_the_first_start_there_is_nothing_to_lose(begin: Any) -> None:
    with pytest.raises(anew.KeyIsHereError, match="made when the box is started"):
        begin(KeyUse.LOG)


def test_a_lost_seal_is_begun_anew_under_the_logs_signature_and_not_while_that_is_lost_too(
    begin: Any, folder: Path
) -> None:
    keys.ensure()
    for name in ("box-key", "seal-key"):
        (folder / name).unlink()
    with pytest.raises(anew.KeyIsHereError, match="begin with that of the log"):
        begin(KeyUse.SEAL)
    begin(KeyUse.LOG)
    new = begin(KeyUse.SEAL)
    assert keys.seal_material().fingerprint == new.fingerprint
    log = next(one for one in keys.all_public() if one.use == "log" and one.in_use_until is None)
    assert json.loads(new.passed_on)["log_fingerprint"] == log.fingerprint
    assert all(link.holds for link in chain.links())


def test_another_boxs_file_in_its_place_is_put_aside_not_destroyed(begin: Any, folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").write_bytes(bytes(range(32)))
    begin(KeyUse.LOG)
    (aside,) = folder.glob("box-key.not-on-record-*")
    assert aside.read_bytes() == bytes(range(32))
    keys.ensure()


def test_a_begin_that_was_cut_off_between_database_and_file_is_ended(folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").unlink()
    new = anew.begin(KeyUse.LOG, by=make.BY, reason="lost")  # the commit's last step is left out here
    assert not (folder / "box-key").exists()
    keys.ensure()
    assert box_key.fingerprint(box_key.public_key()) == new.fingerprint


def test_each_key_tells_how_it_came_into_use_and_a_forged_signature_shows(
    begin: Any, folder: Path, django_capture_on_commit_callbacks: Any
) -> None:
    keys.ensure()
    with django_capture_on_commit_callbacks(execute=True):
        for use in KeyUse.values:
            keys.rotate(use, by=make.BY, reason="due")
    assert not chain.is_broken(chain.links())
    (folder / "box-key").unlink()
    begin(KeyUse.LOG)
    found = chain.links()
    assert all(link.holds for link in found)
    assert [link.broken for link in found if link.key.use == "log"] == [False, False, True]
    assert chain.is_broken(found)
    row = SigningKey.objects.get(use="log", in_use_until=None)
    told = json.loads(row.passed_on)
    del told["broken"]
    row.passed_on = json.dumps(told)
    row.save()
    assert not chain.links()[-1].holds, "without the word that the chain is broken, the old signature is missing"


def test_the_successor_is_only_in_its_private_file(begin: Any, folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").unlink()
    begin(KeyUse.LOG)
    raw = keyfiles.path_of("box-key").read_bytes()
    assert raw.hex() not in json.dumps([*SigningKey.objects.values(), *Event.objects.values("payload")], default=str)
    assert not list(folder.glob("*.next"))


def test_the_command_begins_a_lost_key_anew_and_says_what_that_means(
    folder: Path, django_capture_on_commit_callbacks: Any
) -> None:
    keys.ensure()
    out = StringIO()
    with pytest.raises(CommandError, match="Pass it on instead"):
        call_command("keys", "rotate", "log", "--lost", "--reason", "burnt", stdout=out)
    (folder / "box-key").unlink()
    with pytest.raises(CommandError, match="from a backup"):
        call_command("keys", "rotate", "log", "--reason", "burnt", stdout=out)
    with django_capture_on_commit_callbacks(execute=True):
        call_command("keys", "rotate", "log", "--lost", "--reason", "burnt", stdout=out)
    assert "The chain of keys is broken here" in out.getvalue()
    assert out.getvalue().count("chain broken") == 1
