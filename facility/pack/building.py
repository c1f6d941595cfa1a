"""Building a pack: one view of the database becomes a signed folder, and the folder a zip."""

from __future__ import annotations

import secrets
import shutil
import time
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.conf import settings
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import __version__
from facility.models import Event
from facility.pack import bag, due, layout, log, people, proofs, released, scope, tables, telling
from facility.pack.snapshot import reading_from, snapshot

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from facility.models import Pack
    from facility.report.build import Told
    from facility.trust.keys import PublicKey

FOLDER: Final = "packs"
UNFINISHED: Final = ".unfinished-"
LEFT_S: Final = 24 * 3600
VERIFIER: Final = Path(__file__).parent / "verifier"


@dataclass(frozen=True, slots=True)
class Built:
    """A pack that lies whole on the disk."""

    path: Path
    sha256: str
    size_bytes: int
    log_size: int


def folder() -> Path:
    """Return where packs lie."""
    return Path(settings.DATA_DIR) / FOLDER


def path_of(pack: Pack) -> Path:
    """Return where the zip of a pack lies, or will lie."""
    return folder() / pack.site.key / f"{layout.folder_name(pack.number, pack.from_day, pack.to_day)}.zip"


def build(pack: Pack, made_at: datetime, say: Callable[[str], object]) -> Built:
    """Make the zip of a pack; whoever interrupts leaves nothing half behind.

    Keeps on the pack's row who is behind its pseudonyms; the caller stores it.
    """
    target = path_of(pack)
    target.parent.mkdir(parents=True, exist_ok=True)
    with _workshop() as place:
        root = place / layout.folder_name(pack.number, pack.from_day, pack.to_day)
        root.mkdir()
        log_size = fill(root, pack, made_at, say)
        say(_("Packing"))
        unfinished = place / "pack.zip"
        bag.zipped(root, unfinished)
        unfinished.chmod(0o600)
        unfinished.replace(target)
    return Built(target, bag.digest_of(target), target.stat().st_size, log_size)


@contextmanager
def _workshop() -> Iterator[Path]:
    """Yield a folder to work in, which goes away; those that a killed build left a day ago go too."""
    for left in folder().glob(f"{UNFINISHED}*"):
        if time.time() - left.stat().st_mtime > LEFT_S:
            shutil.rmtree(left, ignore_errors=True)
    place = folder() / f"{UNFINISHED}{secrets.token_hex(8)}"
    place.mkdir(parents=True, mode=0o700)
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)


def scope_of(pack: Pack) -> scope.Scope:
    """Return what a pack is about."""
    chamber, areas, code = scope.parsed(pack.scope, pack.site)
    return scope.Scope(pack.site, pack.chamber or chamber, pack.from_day, pack.to_day, areas, code)


def fill(root: Path, pack: Pack, made_at: datetime, say: Callable[[str], object]) -> int:
    """Write everything into a folder and sign it; return the size of the log that it rests on."""
    from facility.trust import checkpoints, keys  # noqa: PLC0415  # signing libraries, needed only in a build

    keys.ensure()
    for name in (layout.DATA, layout.TABLES):
        (root / name).mkdir()
    about = scope_of(pack)
    with snapshot() as using:
        Event.objects.using(using).aggregate(Max("seq"))  # the view begins with the first look
        head = checkpoints.make("pack")
        written, attached = _records(root, pack, about, using, say)
        say(_("The log"))
        told = log.write_events(root / layout.EVENTS, about, using, head.size)
        with reading_from(using):
            due_count = due.write(root / layout.DUE, about, made_at)
            report = _report(pack, about, using, say)
    log.write_leaves(root / layout.LEAVES, head.size)
    log.write_heads(root / layout.DATA, head, pack.site.key)
    volumes = _volumes(root, report, say)
    done = telling.Contents(made_at, head, written, told, attached, due_count, volumes)
    _tell(root, pack, done)
    say(_("Signing"))
    bag.make(root, _info(pack, done))
    return head.size


def _records(
    root: Path, pack: Pack, about: scope.Scope, using: str, say: Callable[[str], object]
) -> tuple[tables.Written, proofs.Attached]:
    """Write the tables, what was released, and the files that both name."""
    names = people.names_in(pack, about, using)
    frame = tables.Frame(pack, about, using, names, root / layout.TABLES)
    written = tables.write_all(frame, lambda table: say(_("Table %(table)s") % {"table": table}))
    let_go = released.write(pack, using, root / layout.RELEASED)
    attached = proofs.attach(root / layout.ATTACHMENTS, written, let_go, using)
    files = tables.evidence_table()
    frame = replace(frame, files=frozenset(attached.files))
    written.counts[files.name] = tables.write(files, frame, written)
    tables.write_columns(root / layout.COLUMNS)
    return written, attached


def _report(pack: Pack, about: scope.Scope, using: str, say: Callable[[str], object]) -> Told:
    """Read what the report says, from the same view as the tables."""
    from facility.report import build as report  # noqa: PLC0415  # megabytes of typesetting, needed only in a build

    wanted = report.Scope(
        site=pack.site, chamber=about.chamber, from_day=about.from_day, to_day=about.to_day, areas=_areas(about),
        paper=pack.paper, pack=pack, words=scope.words_of(pack.scope, pack.site),
        source=scope.title_of(about.code) if about.code else "", events=log.about(about, using),
    )  # fmt: skip
    return report.told(wanted, tell=say)


def _volumes(root: Path, told: Told, say: Callable[[str], object]) -> list[dict[str, Any]]:
    """Put the volumes of the report beside the records; the view is closed by then, and keeps nobody's space."""
    from facility.report import build as report  # noqa: PLC0415  # as above

    made = []
    for volume in report.pressed(told, tell=say):
        shutil.copyfile(volume.path, root / layout.DATA / volume.name)
        made.append({"name": volume.name, "sha256": volume.sha256, "pages": volume.pages})
    return made


def _areas(about: scope.Scope) -> tuple[str, ...]:
    """Return the areas of the report; of a code those whose items it may ask about."""
    return about.areas or (tuple(key for key, (_words, kinds) in scope.AREAS.items() if kinds) if about.code else ())


def _tell(root: Path, pack: Pack, done: telling.Contents) -> None:
    from facility.trust import keys  # noqa: PLC0415  # signing libraries, needed only in a build

    telling.write_json(root / layout.KEYS, [_key(one) for one in keys.all_public()])
    telling.write_json(root / layout.ABOUT, telling.about(pack, done))
    (root / layout.README).write_text(telling.readme(pack, done), encoding="utf-8")
    for name in layout.VERIFIERS:
        shutil.copyfile(VERIFIER / name, root / name)


def _key(one: PublicKey) -> dict[str, Any]:
    told = asdict(one)
    return {name: value.isoformat() if isinstance(value, datetime) else value for name, value in told.items()}


def _info(pack: Pack, done: telling.Contents) -> dict[str, str]:
    return {
        "Source-Organization": pack.site.name,
        "Bagging-Date": done.made_at.date().isoformat(),
        "External-Identifier": f"{pack.site.key} pack {pack.number}",
        "External-Description": f"Records of {pack.from_day} to {pack.to_day}, scope {pack.scope}",
        "Bag-Software-Agent": f"Deepstead {__version__}",
    }
