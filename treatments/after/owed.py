"""What a run leaves to be done and looked at. Nothing of it blocks anything; what is open when the record is closed is kept with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.counted import counted
from facility.models import Check, CheckSheet, CheckState, Occasion
from maintenance.models import Counter, CounterReading, Defect
from treatments.figures.sum import figure
from treatments.figures.unmeasured import Unmeasured, share, told
from treatments.models import RecordedProfile
from treatments.opening.screening import missing_screenings
from treatments.opening.services import owes_reason
from treatments.recording.disagreements import beside_log

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from facility.access import Visit
    from treatments.after.record import Record
    from treatments.models import Run

DONE, OPEN, UNKNOWN = "indate", "open", "unknown"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing after a run. ``mark``: done, open or not known; ``link``: where it is done or seen, in ``words``."""

    mark: str
    what: str
    detail: str = ""
    link: str = ""
    words: str = ""

    @property
    def open(self) -> bool:
        """Whether it is still to be done."""
        return self.mark != DONE


def to_do(record: Record, visit: Visit) -> list[Item]:
    """Return what is to be done after a run, in the order in which it is done."""
    run, key = record.run, visit.site.key
    return [*_checks(run, key), *_banks(record, key), *_counters(run), *_defects(run, key), *_said(record, key)]


def _checks(run: Run, key: str) -> Iterator[Item]:
    """Yield each after-run sheet with the first check signed on it since the end; cleaning is one of its steps."""
    sheets = list(CheckSheet.objects.filter(chamber=run.chamber_id, occasion=Occasion.AFTER_RUN, retired_at=None))
    rows = Check.objects.filter(sheet__in=sheets, state=CheckState.SIGNED, signed_at__gte=run.ended_at, retired_at=None)
    signed: dict[int, Check] = {}
    for check in rows.order_by("-signed_at"):
        signed[check.sheet_id] = check
    for sheet in sheets:
        found = signed.get(sheet.pk)
        if found is None:
            yield Item(OPEN, sheet.title, _("owed"), reverse("walk:start", args=[key, sheet.pk]), _("Start check"))
        else:
            yield Item(DONE, sheet.title, _("signed by %(who)s") % {"who": found.signed_by},
                       reverse("walk:check", args=[key, found.pk]), _("See it"))  # fmt: skip
    if not sheets:
        yield Item(UNKNOWN, _("Cleaning and readying"), _("This chamber has no after-run sheet, so nobody can say."))
    elif not signed:
        yield Item(OPEN, _("Cleaning and readying"), _("part of the after-run sheet; owed after every use"))


def _banks(record: Record, key: str) -> Iterator[Item]:
    add = reverse("records:add", args=[key, "reading"])
    for gas in record.kept.get("gas", ()):
        for bank in gas["banks"]:
            read = bool(bank["after"])
            detail = _("before %(before)s, after %(after)s") % {
                "before": bank["before"] or _("not read"), "after": bank["after"] or _("not read"),
            }  # fmt: skip
            yield Item(DONE if read else OPEN, _("Read bank %(bank)s") % {"bank": bank["name"]}, detail,
                       "" if read else add, "" if read else _("Read it"))  # fmt: skip
    if not any(gas["banks"] for gas in record.kept.get("gas", ())):
        yield Item(
            UNKNOWN,
            _("Read the banks"),
            _("The plan names no bank; what was drawn is not known."),
            add,
            _("Read a bank"),
        )


def _counters(run: Run) -> Iterator[Item]:
    """Yield what the run added to counters of the chamber: cycles of its vessel and windows, hours."""
    counters = list(Counter.objects.filter(chamber=run.chamber_id, retired_at=None).order_by("key"))
    rows = CounterReading.objects.filter(counter__in=counters, run_number=run.number, retired_at=None)
    added = {row.counter_id: row for row in rows.order_by("read_at", "id")}
    for one in counters:
        row = added.get(one.pk)
        unit = one.get_unit_display()
        if row is None:
            yield Item(OPEN, one.name, _("not raised by this run: read the counter and enter it"))
        else:
            yield Item(
                DONE,
                one.name,
                _("%(value)s %(unit)s after this run") % {"value": figure(float(row.value)), "unit": unit},
            )
    if not counters:
        yield Item(UNKNOWN, _("Cycles of vessel and windows"), _("No counter counts the runs of this chamber."))


def _defects(run: Run, key: str) -> Iterator[Item]:
    rows = Defect.objects.filter(
        site=run.chamber.site_id, retired_at=None, found_at__gte=run.opened_at or run.started_at
    )
    for one in (
        rows.filter(found_at__lte=run.closed_at).order_by("number") if run.closed_at else rows.order_by("number")
    ):
        word = _("returned to service") if one.returned_at else one.get_effect_display()
        yield Item(DONE if one.returned_at else OPEN, _("Tag %(number)04d: %(what)s") % {"number": one.number, "what": one.what},
                   word, reverse("maintenance:defect", args=[key, one.pk]), _("See it"))  # fmt: skip


def _said(record: Record, key: str) -> Iterator[Item]:
    run = record.run
    if owes_reason(run):
        yield Item(OPEN, _("Say why the run left surface outside the house rules"), "", reverse("treatments:run", args=[key, run.pk]), _("Say it"))  # fmt: skip
    for line in record.lines:
        if line.text_missing and not line.struck:
            yield Item(OPEN, _("Text of a line of the log is missing"), line.words)


def to_look_at(record: Record) -> list[Item]:
    """Return what the record shows that somebody should look at before signing."""
    return [*_log(record), *_screenings(record.run), *_gas(record), *_profiles(record.run)]


def _log(record: Record) -> Iterator[Item]:
    counts = record.counts
    words = {
        "late": _("entered late"), "corrected": _("corrected"), "struck": _("struck"),
        "clock": _("while a clock was not trusted"), "paper": _("keyed in from paper"),
    }  # fmt: skip
    told = [f"{counts[name]} {word}" for name, word in words.items() if counts[name]]
    yield Item(OPEN if told else DONE, _("%(lines)s in the log") % {"lines": counted(counts["all"], "line", "lines")}, ", ".join(told) or _("none late, corrected or struck"))  # fmt: skip
    for text in record.kept.get("remarks", ()):
        yield Item(OPEN, text)


def _screenings(run: Run) -> Iterator[Item]:
    found = missing_screenings(run)
    for one in found:
        yield Item(OPEN, _("Screening of %(who)s") % {"who": one.place.label}, "; ".join(one.words))
    if not found:
        yield Item(DONE, _("Everybody inside was screened, and every answer was yes"))


def _gas(record: Record) -> Iterator[Item]:
    for one in record.kept.get("gas", ()):
        expected = figure(one["expected_litres"], 0)
        if one["used_litres"] is None:
            yield Item(UNKNOWN, _("%(gas)s drawn: not known") % {"gas": one["gas"]}, _("expected %(litres)s L") % {"litres": expected})  # fmt: skip
        elif one.get("unmeasured"):
            apart = Unmeasured(**one["unmeasured"])
            yield Item(
                DONE, _("%(gas)s drawn: %(litres)s L") % {
                    "gas": one["gas"], "litres": told(one["used_litres"], apart.low_litres, apart.high_litres)},
                _("temperature not measured: taken as %(celsius)s °C; expected %(litres)s L; drawn is %(percent)s of it.")
                % {"celsius": figure(apart.taken_c, 1), "litres": expected,
                   "percent": share(one["percent"] or 0.0, one["expected_litres"], apart)},
            )  # fmt: skip
        else:
            yield Item(
                DONE, _("%(gas)s drawn: %(litres)s L") % {"gas": one["gas"], "litres": figure(one["used_litres"], 0)},
                _("expected %(litres)s L; drawn is %(percent)s %% of it. Litres at 15 °C and 1 atm.")
                % {"litres": expected, "percent": figure(one["percent"], 0)},
            )  # fmt: skip


def _profiles(run: Run) -> Iterator[Item]:
    key = run.chamber.site.key
    for row in (
        RecordedProfile.objects.filter(run=run, retired_at=None).select_related("run__chamber__site").order_by("id")
    ):
        found = beside_log(row)
        apart = len(found.differing) + len(found.only_recorded)
        sizes = [
            _("depth by up to %(size)s fsw") % {"size": figure(found.largest_fsw, 1)} if found.largest_fsw else "",
            _("time by up to %(size)s min") % {"size": figure(found.largest_min, 1)} if found.largest_min else "",
        ]
        told = ", ".join(
            filter(
                None,
                [
                    ngettext("%(count)d difference from the log", "%(count)d differences from the log", apart)
                    % {"count": apart},
                    *sizes,
                ],
            )
        )
        yield Item(
            OPEN if apart else DONE, _("Recorded profile: %(instrument)s") % {"instrument": row.instrument},
            told if apart else _("agrees with the log"), reverse("treatments:profile", args=[key, row.pk]), _("See it"),
        )  # fmt: skip


def left_open(items: Iterable[Item]) -> list[str]:
    """Return in words what is open or not known."""
    return [f"{one.what}: {one.detail}" if one.detail else one.what for one in items if one.open]
