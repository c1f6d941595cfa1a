"""Volumes of a report, pressed two at a time, checked, sealed, and taken again where nothing of them changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils import timezone, translation
from django.utils.translation import gettext as _

from facility import events
from facility.papers.presses import press_all
from facility.report import contents, store, summary
from facility.report.checks import checks_of
from facility.report.pages import sheet_of
from facility.report.plant import states_of
from facility.report.scope import Frame, Scope
from facility.report.seal import sealed
from facility.report.shape import parts
from facility.shown import instant_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import date
    from pathlib import Path

    from facility.papers.presses import Sheet
    from facility.report.shape import Volume
    from facility.report.store import Sealed

__all__ = ["BuiltVolume", "Scope", "closed_month", "pressed", "told", "volumes"]


@dataclass(frozen=True, slots=True)
class BuiltVolume:
    """A sealed volume that lies on the disk. ``name``: of the file in a pack. ``warm``: it lay there already."""

    name: str
    path: Path
    sha256: str
    pages: int
    warm: bool = False


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A volume on its way: its page, and under which key it is kept."""

    volume: Volume
    sheet: Sheet
    key: store.Key


@dataclass(frozen=True, slots=True)
class Told:
    """A report as text: all its records are read, nothing of it is pressed yet. ``left_out``: the months without a volume."""

    frame: Frame
    opening: Volume
    others: tuple[_Wanted, ...]
    left_out: str = ""


def told(scope: Scope, *, tell: Callable[[str], object]) -> Told:
    """Read everything that a report says. After it no record is read any more."""
    with timezone.override(scope.site.zone):
        today = timezone.localdate(events.now(), timezone.get_current_timezone())
        frame = Frame(scope, scope.from_day, scope.to_day, today)
        tell(_("Reading the records for the report"))
        states = states_of(frame)
        months = contents.months(scope, today)
        volumes = [*contents.standing(frame, states), *months.told]
        others = tuple(_wanted(part, scope) for one in volumes for part in parts(one))
        opening = _plated(summary.volume(frame, states, checks_of(frame), months.beginning(frame)), scope)
    return Told(frame, opening, others, months.left_out())


def pressed(report: Told, *, tell: Callable[[str], object]) -> list[BuiltVolume]:
    """Return the sealed volumes of a report, the summary first.

    Errors: PrintingError or NotPublishedError if a volume cannot be made; those made before it are kept.
    """
    made = _made(report.others, tell)
    listed = [_listed(report.frame, wanted, one) for wanted, one in made]
    tell(_("The summary of the report"))
    opening = _pressed(parts(summary.with_list(report.opening, listed, report.left_out)), report.frame.scope)
    rest = [BuiltVolume(f"{wanted.volume.name}.pdf", one.path, one.sha256, one.pages, one.warm) for wanted, one in made]
    return opening + rest


def volumes(scope: Scope, *, tell: Callable[[str], object]) -> list[BuiltVolume]:
    """Return the sealed volumes of a report as things stand. Errors: as of ``pressed``."""
    return pressed(told(scope, tell=tell), tell=tell)


def closed_month(scope: Scope, first: date, last: date) -> list[BuiltVolume]:
    """Return the sealed volumes of one whole month, made now if they are not there yet; none where nothing is on record."""
    with timezone.override(scope.site.zone):
        today = timezone.localdate(events.now(), timezone.get_current_timezone())
        volume = contents.month(scope, first, last, today)
        wanted = [] if volume.says_nothing else [_wanted(one, scope) for one in parts(volume)]
        made = _made(wanted, lambda _sentence: None)
    return [BuiltVolume(f"{one.volume.name}.pdf", done.path, done.sha256, done.pages, done.warm) for one, done in made]


def _plated(volume: Volume, scope: Scope) -> Volume:
    """Return the summary with for whom it was made, by whom and when."""
    if scope.pack is None:
        return volume
    now = events.now()
    offset = timezone.localtime(now).isoformat()[-6:]
    made = f"{instant_text(now, ZoneInfo(scope.site.zone))} (UTC{offset})"
    words = _("Pack %(number)d · made %(at)s by %(who)s") % {
        "number": scope.pack.number, "at": made, "who": _by(scope.pack.asked_by)}  # fmt: skip
    plate = ((_("Prepared for"), scope.pack.recipient), (_("Pack"), str(scope.pack.number)))
    return replace(volume, plate=plate, foot=words)


def _by(name: str) -> str:
    """Return who asked for a pack; a command or a job of the box is the box."""
    return _("this box") if not name or name.startswith("system:") else name


def _wanted(volume: Volume, scope: Scope) -> _Wanted:
    sheet = sheet_of(volume, scope)
    name = f"{volume.name} {scope.paper} {translation.get_language() or 'en'}"
    more = " ".join([*sorted(scope.areas), scope.chamber.key if scope.chamber else "", scope.source]).strip()
    return _Wanted(
        volume, sheet, store.Key(scope.site, f"{name} {more}".strip()[:80], volume.month, store.inputs_of(sheet, _fingerprint()))
    )  # fmt: skip


def _fingerprint() -> str:
    from facility.trust.keys import seal_material  # noqa: PLC0415  # opens the key only where something is sealed

    return seal_material().fingerprint


def _made(wanted: Sequence[_Wanted], tell: Callable[[str], object]) -> list[tuple[_Wanted, Sealed]]:
    """Return each volume as it lies there, those that were missing made now."""
    there = {one.key.inputs_sha256: store.found(one.key) for one in wanted}
    missing = [one for one in wanted if there[one.key.inputs_sha256] is None]
    sheets = [one.sheet for one in missing]
    for number, (one, pressed) in enumerate(zip(missing, press_all(sheets), strict=True), 1):
        tell(_("Volume %(number)d of %(count)d of the report") % {"number": number, "count": len(missing)})
        there[one.key.inputs_sha256] = store.keep(one.key, _sealed(pressed.pdf, one.volume.name), pressed.pages)
    return [(one, done) for one in wanted if (done := there[one.key.inputs_sha256]) is not None]


def _sealed(pdf: bytes, name: str) -> bytes:
    from facility.trust.keys import seal_material  # noqa: PLC0415  # as above

    material = seal_material()
    return sealed(pdf, material.key_pem, material.certificate_pem, name)


def _pressed(these: Iterable[Volume], scope: Scope) -> list[BuiltVolume]:
    """Return the volumes that belong to one pack alone: made anew, never taken again."""
    found = list(these)
    made = []
    for one, pressed in zip(found, press_all([sheet_of(one, scope) for one in found]), strict=True):
        placed = store.put(_sealed(pressed.pdf, one.name), pressed.pages)
        made.append(BuiltVolume(f"{one.name}.pdf", placed.path, placed.sha256, placed.pages))
    return made


def _listed(frame: Frame, wanted: _Wanted, done: Sealed) -> summary.Listed:
    before = store.earlier(wanted.key) if wanted.volume.month else []
    instead = ""
    if before:
        instead = _("takes the place of the volume sealed %(at)s, SHA-256 %(digest)s …") % {
            "at": frame.at(before[0].sealed_at), "digest": before[0].file_sha256[:16].upper()}  # fmt: skip
    return summary.Listed(wanted.volume.name, wanted.volume.title, done.pages, done.sha256, instead)
