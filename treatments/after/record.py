"""The record of a run: what it says in one canonical text, and what a page or a paper shows of it.

Signatures are bound to the digest of that text. Patients stand in it by their name in the log alone, clinical texts
by their salted digest.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from treatments.after.kept import Departed, departures_of, kept_of, people_of, stops_of
from treatments.figures.state import figures_of
from treatments.log.reading import Line, all_of, lines_of
from treatments.models import ClinicalText, Exposure, LogEntry, RecordedProfile, Run, RunPlace, Screening
from treatments.opening.patients import salted_digest

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

LABEL = b"deepstead record of a run 1\0"


@dataclass(frozen=True, slots=True)
class Record:
    """A record as shown. ``kept``: the figures kept when it was closed, or those of now while it is open.

    ``changed``: log or people differ from what the kept figures were computed from. ``figures_differ``: the
    figures computed now are not those kept, though the log is.
    """

    run: Run
    places: tuple[RunPlace, ...]
    lines: tuple[Line, ...]
    kept: dict[str, Any]
    text: str
    changed: bool
    figures_differ: bool

    @property
    def digest(self) -> str:
        """The SHA-256 over the canonical text, as hexadecimal digits."""
        return digest_of(self.text)

    @property
    def closed(self) -> bool:
        """Whether its figures are kept."""
        return self.run.closed_at is not None

    @property
    def departures(self) -> list[Departed]:
        """Departures from the table."""
        return departures_of(self.kept)

    @property
    def people(self) -> list[dict[str, Any]]:
        """Who was under pressure."""
        return people_of(self.kept)

    @property
    def stops(self) -> list[dict[str, Any]]:
        """The stops as logged."""
        return stops_of(self.kept)

    @property
    def counts(self) -> dict[str, int]:
        """How many lines the log has, and how many are late, corrected, struck or of a clock not trusted."""
        return {
            "all": len(self.lines),
            "late": sum(1 for line in self.lines if line.entry.late),
            "corrected": sum(1 for line in self.lines if line.old),
            "struck": sum(1 for line in self.lines if line.struck),
            "clock": sum(1 for line in self.lines if line.clock_suspect),
            "paper": sum(1 for line in self.lines if line.entry.from_paper),
        }


def digest_of(text: str) -> str:
    """Return the SHA-256 over a canonical text, as hexadecimal digits."""
    return hashlib.sha256(LABEL + text.encode()).hexdigest()


def canonical(content: Any) -> str:
    """Return content as JSON with one text for one content."""
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def record_of(run: Run, now: datetime) -> Record:
    """Return the record of a run as of an instant. A number of queries that does not grow with its log."""
    entries = all_of(run)
    places = list(RunPlace.objects.filter(run=run).select_related("person", "patient").order_by("id"))
    basis = basis_of(run, places, entries)
    fresh = kept_of(figures_of(run, now))
    stored = dict(run.computed)
    closed = run.closed_at is not None and "figures" in stored
    changed = closed and stored["basis"] != digest_of(canonical(basis))
    content = basis | {"computed": stored if closed else None, "exposures": _exposures(run)}
    lines = tuple(
        sorted(
            lines_of(run, entries), key=lambda line: (line.entry.occurred_at or line.entry.recorded_at, line.entry.pk)
        )
    )
    return Record(
        run, tuple(one for one in places if one.retired_at is None), lines, stored["figures"] if closed else fresh,
        canonical(content), changed, closed and not changed and stored["figures"] != fresh,
    )  # fmt: skip


def basis_of(run: Run, places: Iterable[RunPlace], entries: Sequence[LogEntry]) -> dict[str, Any]:
    """Return what the figures are computed from, as plain values: run, people, log, screenings, profiles, texts."""
    return {
        "run": _run(run),
        "people": [
            [one.pk, one.role, one.label, one.inside, str(one.previous_exposure_at or ""), one.retired_reason]
            for one in places
        ],
        "log": [_entry(one) for one in entries],
        "screenings": [
            [str(value) for value in row]
            for row in Screening.objects.filter(run=run).order_by("id").values_list(
                "occupant_id", "before", "screened_at", "clothing", "items", "ears", "consent", "contraindications",
                "screened_by", "remark", "retired_reason",
            )
        ],
        "profiles": [
            [one.evidence.sha256, one.instrument, one.offset_s, one.pieces, one.retired_reason]
            for one in RecordedProfile.objects.filter(run=run).select_related("evidence").order_by("id")
        ],
        "clinical": [
            [one.pk, one.entry_id, one.about_id, "erased" if one.erased_at else salted_digest(one.salt, one.text)]
            for one in ClinicalText.objects.filter(run=run, retired_at=None).order_by("id")
        ],
    }  # fmt: skip


def _run(run: Run) -> dict[str, Any]:
    return {
        "chamber": run.chamber.key, "number": run.number, "purpose": run.purpose, "plan": f"{run.plan.key} {run.plan.version}",
        "table": [run.table_key, run.table_version, run.table_standing, run.table], "supervisor": run.supervisor,
        "left_surface": str(run.started_at or ""), "reached_surface": str(run.ended_at or ""),
        "outside_house_rules": run.outside_house_rules, "alone_because": run.alone_because,
    }  # fmt: skip


def _entry(one: LogEntry) -> list[Any]:
    return [
        one.pk, one.kind, str(one.occurred_at), str(one.recorded_at), one.recorded_by, one.occupant_id,
        "" if one.depth is None else f"{one.depth.normalize():f} {one.depth_unit}", one.values, one.remark, one.late,
        one.clock_suspect, one.from_paper, one.supersedes_id, "counts" if one.is_current else one.retired_reason,
    ]  # fmt: skip


def _exposures(run: Run) -> list[list[str]]:
    rows = Exposure.objects.filter(run=run, retired_at=None).order_by("occupant_id", "id")
    return [
        [str(value) for value in row]
        for row in rows.values_list(
            "occupant__label", "starts_at", "ends_at", "deepest_fsw", "minutes", "oxygen_min", "uptd", "cns_fraction",
            "convention", "oxygen_owed_min",
        )
    ]  # fmt: skip
