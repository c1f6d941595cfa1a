"""The keys: made once with a restricted file, passed on under both signatures, missed when they are gone."""

from __future__ import annotations

import base64
import hashlib
import json
import stat
import subprocess
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.hashes import SHA256
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from facility import box_key, record_check
from facility.models import Event, KeyUse, SigningKey
from facility.trust import keyfiles, keys
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    return tmp_path


def signed_by(key: keys.PublicKey, told: dict[str, str], name: str) -> None:
    """Verify a signature of the log's key over a statement, by another library. Raises InvalidSignature."""
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(key.public_hex))
    public.verify(base64.b64decode(told[name]), keys.LABEL + b"\0" + told["text"].encode())


def test_the_first_start_makes_both_keys_readable_by_their_owner_alone(folder: Path) -> None:
    keys.ensure()
    for name in ("box-key", "seal-key", "seal-cert.pem"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600, name
    assert sorted(key.use for key in keys.all_public()) == ["log", "seal"]
    assert Event.objects.filter(action="key put in use").count() == 2


def test_a_second_start_changes_nothing(folder: Path) -> None:
    keys.ensure()
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    keys.ensure()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert SigningKey.objects.count() == 2


def test_a_key_that_was_there_already_stays(folder: Path) -> None:
    public = box_key.public_key()
    keys.ensure()
    log = keys.in_use(KeyUse.LOG)
    assert log is not None
    assert (log.fingerprint, keys.raw_of(log)) == (hashlib.sha256(public).hexdigest(), public)
    assert keys.origin() == f"deepstead/{log.fingerprint[:16]}"


def test_no_private_key_is_in_the_database_or_the_log() -> None:
    keys.ensure()
    secret = keyfiles.path_of("seal-key").read_text().splitlines()[1]
    raw = keyfiles.path_of("box-key").read_bytes()
    stored = json.dumps([*SigningKey.objects.values(), *Event.objects.values("payload")], default=str)
    assert secret not in stored
    assert raw.hex() not in stored
    assert base64.b64encode(raw).decode() not in stored


def test_the_seal_is_a_p256_key_whose_certificate_is_fit_to_sign_papers() -> None:
    material = keys.seal_material()
    made = x509.load_pem_x509_certificate(material.certificate_pem)
    public = made.public_key()
    assert isinstance(public, EllipticCurvePublicKey)
    assert isinstance(public.curve, SECP256R1)
    public.verify(made.signature, made.tbs_certificate_bytes, ECDSA(SHA256()))
    assert made.fingerprint(SHA256()).hex() == material.fingerprint
    usage = made.extensions.get_extension_for_class(x509.KeyUsage).value
    assert usage.digital_signature
    assert usage.content_commitment
    assert not usage.key_cert_sign


def test_openssl_reads_key_and_certificate_and_finds_that_they_belong_together(folder: Path) -> None:
    keys.ensure()
    told = [
        subprocess.run(["openssl", *words], check=True, capture_output=True, cwd=folder).stdout
        for words in (["pkey", "-in", "seal-key", "-pubout"], ["x509", "-in", "seal-cert.pem", "-noout", "-pubkey"])
    ]
    assert told[0] == told[1] != b""


def test_the_logs_key_vouches_for_the_first_seal() -> None:
    keys.ensure()
    log, seal = keys.all_public()
    assert seal.passed_on is not None
    assert f"new: {seal.fingerprint}\n" in seal.passed_on["text"]
    assert seal.passed_on["log_fingerprint"] == log.fingerprint
    signed_by(log, seal.passed_on, "log_signature")


def test_a_key_passed_on_is_signed_by_the_old_one_and_the_new_one(django_capture_on_commit_callbacks: Any) -> None:
    keys.ensure()
    first = box_key.public_key()
    origin = keys.origin()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="the box was\nopened")
    old, new = (key for key in keys.all_public() if key.use == "log")
    assert new.passed_on is not None
    signed_by(old, new.passed_on, "old_signature")
    signed_by(new, new.passed_on, "new_signature")
    with pytest.raises(InvalidSignature):
        signed_by(new, new.passed_on, "old_signature")
    assert f"old: {old.fingerprint}\nnew: {new.fingerprint}\n" in new.passed_on["text"]
    assert new.passed_on["text"].endswith("reason: the box was opened\n")
    assert (old.in_use_until, new.in_use_until) == (new.in_use_from, None)
    assert first.hex() == old.public_hex != box_key.public_key().hex() == new.public_hex
    assert keys.origin() == origin


def test_the_old_private_key_is_nowhere_after_it_was_passed_on(
    folder: Path, django_capture_on_commit_callbacks: Any
) -> None:
    keys.ensure()
    old = (folder / "box-key").read_bytes()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="due")
    assert all(old not in path.read_bytes() for path in folder.iterdir())
    assert not list(folder.glob("*.next"))


def test_a_new_seal_is_signed_by_the_old_seal_and_by_the_log(django_capture_on_commit_callbacks: Any) -> None:
    keys.ensure()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.SEAL, by=make.BY, reason="due")
    log = next(key for key in keys.all_public() if key.use == "log")
    old, new = (key for key in keys.all_public() if key.use == "seal")
    told = new.passed_on
    assert told is not None
    signed_by(log, told, "log_signature")
    content = keys.LABEL + b"\0" + told["text"].encode()
    for key, name in ((old, "old_signature"), (new, "new_signature")):
        public: Any = x509.load_pem_x509_certificate(key.public_pem.encode()).public_key()
        public.verify(base64.b64decode(told[name]), content, ECDSA(SHA256()))
    assert keys.seal_material().fingerprint == new.fingerprint


def test_each_passing_on_is_in_the_log_and_the_records_stay_whole(django_capture_on_commit_callbacks: Any) -> None:
    keys.ensure()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="due")
    actions = list(Event.objects.order_by("seq").values_list("action", flat=True))
    assert actions[-2:] == ["key taken out of use", "key put in use"]
    assert record_check.verify().ok


def test_a_start_that_was_cut_off_between_database_and_file_is_ended(folder: Path) -> None:
    keys.ensure()
    new = keys.rotate(KeyUse.LOG, by=make.BY, reason="due")  # the commit's last step is left out here
    assert (folder / "box-key.next").exists()
    keys.ensure()
    assert box_key.fingerprint(box_key.public_key()) == new.fingerprint
    assert not (folder / "box-key.next").exists()


def test_a_successor_that_never_came_into_use_is_no_key(folder: Path) -> None:
    keys.ensure()
    before = box_key.public_key()
    keyfiles.make_log_key(keyfiles.NEXT)
    keys.ensure()
    assert box_key.public_key() == before


def test_a_blank_reason_passes_no_key_on(folder: Path) -> None:
    keys.ensure()
    with pytest.raises(ValidationError, match="Give a reason"):
        keys.rotate(KeyUse.LOG, by=make.BY, reason=" ")
    assert SigningKey.objects.count() == 2
    assert not list(folder.glob("*.next"))


@pytest.mark.parametrize("name", ["box-key", "seal-key", "seal-cert.pem"])
def test_a_lost_key_is_named_and_no_other_takes_its_place_unseen(folder: Path, name: str) -> None:
    keys.ensure()
    (folder / name).unlink()
    with pytest.raises(keys.KeyFaultError, match=rf"{name}.*from a backup"):
        keys.ensure()
    assert not (folder / name).exists()


def test_another_boxs_key_is_named(folder: Path) -> None:
    keys.ensure()
    (folder / "box-key").write_bytes(bytes(range(32)))
    with pytest.raises(keys.KeyFaultError, match="not the one in"):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="due")


def test_the_database_takes_one_key_of_a_use_at_a_time() -> None:
    keys.ensure()
    row = keys.in_use(KeyUse.LOG)
    assert row is not None
    with pytest.raises(IntegrityError), transaction.atomic():
        SigningKey.objects.create(
            use="log", public="x", fingerprint="y", in_use_from=row.in_use_from, recorded_at=row.recorded_at
        )


def test_the_command_lists_and_passes_on(django_capture_on_commit_callbacks: Any) -> None:
    out = StringIO()
    with django_capture_on_commit_callbacks(execute=True):
        call_command("keys", "rotate", "log", "--reason", "due", stdout=out)
    for key in keys.all_public():
        assert key.fingerprint in out.getvalue()
    assert out.getvalue().count("in use") == 2
    with pytest.raises(CommandError, match="Give a reason"):
        call_command("keys", "rotate", "log", "--reason", " ", stdout=out)
