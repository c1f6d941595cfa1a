"""Freeze: every record around an event, kept in one file and signed, in one act.

The file holds one JSON object a line: a head, each entry of the log in its exact text, the records that these entries
tell of as they stand now, and the digests of stored files. Whose health it is about is not in it: identities and
clinical texts stand there by number and salted digest alone.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from facility import box_key, events, house, services
from facility.evidence import keep_text, read_back
from facility.models import Event, Evidence
from facility.trust import keys
from treatments.models import ClinicalText, Freeze, Patient

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from facility.events import Actor
    from facility.models import Site

LABEL = b"deepstead freeze 1"
MEDIA_TYPE = "application/x-ndjson"
APART = (Patient._meta.label_lower, ClinicalText._meta.label_lower)
#: never in a file that leaves the box
LEFT_OUT = ("password", "salt")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a look at a frozen file says, each by itself."""

    file_unchanged: bool
    signature_good: bool
    by_this_box: bool
    log_unchanged: bool
    changed_since: tuple[str, ...]


@transaction.atomic
def freeze(wanted: Freeze, *, by: Actor) -> Freeze:
    """Keep and sign every record of the site around ``wanted.event_at``.

    Errors: ValidationError if the event lies in the future or a field refuses it.
    """
    now = events.now()
    if wanted.event_at > now + timedelta(minutes=5):
        raise ValidationError({"event_at": _("The event lies after now. Give the time when it happened.")})
    span = timedelta(hours=int(house.values(wanted.site)["freeze_hours"]))
    wanted.starts_at, wanted.ends_at = wanted.event_at - span, wanted.event_at + span
    found = list(entries_between(wanted.site, wanted.starts_at, wanted.ends_at))
    content, rows = _content(wanted, found, now)
    wanted.digest = hashlib.sha256(content).hexdigest()
    public = box_key.public_key()
    wanted.signature = box_key.sign(LABEL, content).hex()
    wanted.key_fingerprint = box_key.fingerprint(public)
    name = f"freeze-{wanted.site.key}-{wanted.event_at:%Y%m%d-%H%M}"
    wanted.evidence = keep_text(content, MEDIA_TYPE, name, site=wanted.site, by=by)
    wanted.manifest = {
        "entries": len(found), "first": found[0].seq if found else 0, "last": found[-1].seq if found else 0,
        "records": rows, "until_now": wanted.ends_at > now, "public_key": public.hex(),
    }  # fmt: skip
    wanted.signed_by = by.name
    wanted.occurred_at = wanted.event_at
    return services.add(wanted, by=by, action="records frozen", reason=wanted.why)


def entries_between(site: Site, starts_at: datetime, ends_at: datetime) -> Iterator[Event]:
    """Yield each entry of the log that was recorded, or tells of what happened, within [starts_at, ends_at]."""
    later = Event.objects.filter(site_id_text=site.key, recorded_at__gte=starts_at).order_by("seq")
    for event in later.iterator(chunk_size=2000):
        if event.recorded_at <= ends_at or _happened_within(event, starts_at, ends_at):
            yield event


def _happened_within(event: Event, starts_at: datetime, ends_at: datetime) -> bool:
    text = json.loads(event.payload)["occurred_at"]
    return bool(text) and starts_at <= datetime.fromisoformat(text) <= ends_at


def _content(wanted: Freeze, found: Iterable[Event], now: datetime) -> tuple[bytes, dict[str, str]]:
    """Return the file, and the digest of each record in it by name."""
    found = list(found)
    head = {
        "deepstead": "freeze 1", "site": wanted.site.key, "event_at": wanted.event_at.isoformat(),
        "from": wanted.starts_at.isoformat(), "until": wanted.ends_at.isoformat(), "made_at": now.isoformat(),
        "why": wanted.why,
    }  # fmt: skip
    lines = [_line({"head": head})]
    lines += [
        _line({"entry": event.seq, "digest": bytes(event.digest).hex(), "prev": bytes(event.prev).hex(),
               "payload": event.payload})
        for event in found
    ]  # fmt: skip
    rows: dict[str, str] = {}
    files: set[str] = set()
    for name, row in _records(found):
        text = _line({"record": name, "values": _values(row)})
        rows[name] = hashlib.sha256(text.encode()).hexdigest()
        lines.append(text)
        if isinstance(row, Evidence):
            files.add(row.sha256)
    lines += [_line({"file": sha256}) for sha256 in sorted(files)]
    return ("\n".join(lines) + "\n").encode(), rows


def _records(found: Iterable[Event]) -> Iterator[tuple[str, Any]]:
    """Yield name and row of each thing that the entries tell of, once, as it stands now."""
    wanted: dict[str, set[int]] = {}
    for event in found:
        if event.subject_kind and event.subject_id is not None:
            wanted.setdefault(event.subject_kind, set()).add(event.subject_id)
    for kind in sorted(wanted):
        model: Any = apps.get_model(kind)
        for row in model.objects.filter(pk__in=sorted(wanted[kind])).order_by("pk"):
            yield f"{kind} {row.pk}", row


def _values(row: Any) -> dict[str, str]:
    if row._meta.label_lower in APART:
        return {"apart": "kept under its own permission", "row_version": str(row.row_version)}
    return {name: value for name, value in services.plain(row).items() if name not in LEFT_OUT}


def _line(content: dict[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def _is_of_this_box(public: bytes) -> bool:
    """Return whether a key is this box's own, now or before it was passed on."""
    return public == box_key.public_key() or public.hex() in {key.public_hex for key in keys.all_public()}


def look_at(frozen: Freeze) -> Verdict:
    """Compare a frozen file with its digest, its signature, the log and the records of now."""
    manifest, public = frozen.manifest, bytes.fromhex(frozen.manifest["public_key"])
    try:
        content = read_back(frozen.evidence) if frozen.evidence else b""
    except ValidationError:
        content = b""
    unchanged = hashlib.sha256(content).hexdigest() == frozen.digest
    good = box_key.is_signed(LABEL, content, bytes.fromhex(frozen.signature), public)
    return Verdict(
        unchanged, good, _is_of_this_box(public), unchanged and _log_is_the_same(content),
        tuple(_changed(manifest["records"])),
    )  # fmt: skip


def _log_is_the_same(content: bytes) -> bool:
    told = [json.loads(line) for line in content.decode().splitlines()]
    digests = {one["entry"]: one["digest"] for one in told if "entry" in one}
    now = Event.objects.filter(seq__in=list(digests)).values_list("seq", "digest")
    return digests == {seq: bytes(digest).hex() for seq, digest in now}


def _changed(records: dict[str, str]) -> Iterator[str]:
    """Yield the names of records that stand otherwise now. That is no fault: the log says how it came."""
    by_kind: dict[str, list[int]] = {}
    for name in records:
        kind, pk = name.split()
        by_kind.setdefault(kind, []).append(int(pk))
    for kind in sorted(by_kind):
        model: Any = apps.get_model(kind)
        rows = {row.pk: row for row in model.objects.filter(pk__in=by_kind[kind])}
        for number in sorted(by_kind[kind]):
            told = f"{kind} {number}"
            text = _line({"record": told, "values": _values(rows[number])}) if number in rows else ""
            if hashlib.sha256(text.encode()).hexdigest() != records[told]:
                yield told
