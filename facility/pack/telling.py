"""What a pack says of itself: in plain words, and for programs."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from facility import __version__, box_key
from facility.pack.bag import one_line
from facility.pack.scope import words_of
from facility.trust import chain

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from facility.models import Checkpoint, Pack
    from facility.pack.log import Told
    from facility.pack.proofs import Attached
    from facility.pack.tables import Written


@dataclass(frozen=True, slots=True)
class Contents:
    """What went into a pack."""

    made_at: datetime
    head: Checkpoint
    tables: Written
    events: Told
    files: Attached
    due: int
    volumes: list[dict[str, Any]]


def about(pack: Pack, done: Contents) -> dict[str, Any]:
    """Return what ``pack.json`` holds."""
    return {
        "number": pack.number,
        "site": pack.site.key,
        "site_name": pack.site.name,
        "chamber": pack.chamber.key if pack.chamber else "",
        "from": pack.from_day.isoformat(),
        "to": pack.to_day.isoformat(),
        "time_zone": pack.site.zone,
        "scope": pack.scope,
        "recipient": pack.recipient,
        "ground": pack.ground,
        "made_at": done.made_at.isoformat(),
        "version": __version__,
        "fingerprint": box_key.fingerprint(box_key.public_key()),
        "log_size": done.head.size,
        "log_root": bytes(done.head.root).hex(),
        "events": asdict(done.events),
        "tables": done.tables.counts,
        "attachments": len(done.files.files),
        "attachments_missing": done.files.missing,
        "pictures_kept_back": done.files.pictures_kept_back,
        "released": len(pack.released),
        "due": done.due,
        "report": done.volumes,
    }


def write_json(path: Path, content: Any) -> None:
    """Write JSON for people and programs: sorted, a value a line."""
    path.write_text(json.dumps(content, ensure_ascii=False, sort_keys=True, indent=1) + "\n", encoding="utf-8")


def readme(pack: Pack, done: Contents) -> str:
    """Return the plain words that open a pack. They stay English, as the names of its members."""
    made = done.made_at.astimezone(ZoneInfo(pack.site.zone)).strftime("%Y-%m-%d %H:%M %z")
    missing = "".join(f"  {digest}\n" for digest in done.files.missing)
    return README.format(
        number=pack.number, site=one_line(pack.site.name), zone=pack.site.zone, from_day=pack.from_day, to_day=pack.to_day,
        scope=one_line(words_of(pack.scope, pack.site)), recipient=one_line(pack.recipient), ground=one_line(pack.ground),
        made=made,
        size=done.head.size, full=done.events.full, digest_only=done.events.digest_only,
        rows=sum(done.tables.counts.values()), tables=len(done.tables.counts), files=len(done.files.files),
        pictures=done.files.pictures_kept_back, released=len(pack.released),
        missing=f"Missing or damaged on the server, so not here:\n{missing}" if missing else "None is missing.\n",
        fingerprint=box_key.fingerprint(box_key.public_key()), broken=BROKEN if chain.is_broken(chain.links()) else "",
    )  # fmt: skip


BROKEN = """
THE CHAIN OF KEYS IS BROKEN: a key of the log was lost, and nobody but its successor says that it took its place.
Compare the fingerprint with one that was handed over in person after that.
"""
README = """\
PACK {number} OF {site}
Records of {from_day} to {to_day} (days of {zone}): {scope}.
Made {made} for {recipient}. Ground: {ground}.

HOW TO VERIFY, WITHOUT A NETWORK
Open verify.html in a browser and give it this pack; or run: python3 verify.py
Both also say whether the log goes on from that of an older pack, or of its checkpoint.note alone: --older FILE
Compare the fingerprint of the key with the one on the wall sheet and in earlier packs, or give it to the program:
python3 verify.py --key FINGERPRINT. The pack itself names:
{fingerprint}
By openssl alone, with the key of use "log" from data/keys.json saved as key.pem:
    (printf 'deepstead pack v1\\0'; cat tagmanifest-sha256.txt) > signed
    base64 -d tagmanifest-sha256.txt.sig > signature
    openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in signed -sigfile signature

WHAT THAT PROVES
1. Files unchanged: each file here has the SHA-256 that was written down when the pack was made.
2. Events belong to the log: the events told here are events of a log of {size} events, in their places.
3. Signed: file list and log were signed by the key with the fingerprint above.

WHAT IT DOES NOT PROVE
That a reading was true, or that what was done was right. That something was entered at all. That the key is the
facility's own: only comparing the fingerprint shows that. That nothing was built anew after the newest signed head
that somebody outside the facility holds. {broken}This pack is no statement that a code is met: the local codes and those
who enforce them decide.

WHAT IS IN IT
data/report-*.pdf    the report, in volumes, each sealed
data/tables/         {rows} rows in {tables} tables, each as .csv and .jsonl; columns.csv says what became of each field
data/events.jsonl    {full} events, word for word: those recorded in the period, and later ones about what happened
                     in it; {digest_only} more of the period are given by their digest alone, since they are out of
                     scope or their text holds something that is kept back
data/leaves.txt      the SHA-256 of every event of the log, so that nothing in between can be left out
data/checkpoint.note the signed head of the log; data/checkpoints/ earlier ones
data/attachments/    {files} files by their SHA-256; {pictures} pictures are kept back. {missing}
data/released.jsonl  {released} texts or pictures that were released one by one, each with its reason
data/due.ics         what is due, reckoned on the day the pack was made
data/keys.json       the keys of this facility, those in use and those before
data/pack.json       the same figures for programs

HOW TO READ THE TABLES
A cell of a .csv that a spreadsheet could take for a formula begins with an apostrophe; a plain number stays as it is.
The .jsonl has the true values. Times in .csv are those of the site with their offset, in .jsonl in UTC.
Registers (equipment, people, sheets) are given as they stood when the pack was made, things retired among them.

PRIVACY
Patients, and guests in a run, have a name that holds in this pack alone (P-001 ...). This is pseudonymised, not
anonymous: a date and a place may be enough for somebody who knows. Keep it as you keep health records.
Identity, health texts, telephone numbers, notes and pictures are not in it unless they are listed in released.jsonl.
"""
