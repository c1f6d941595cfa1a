"""A recorded profile taken in: read by its layout, cut, put onto the run's clock, and stored with what it does not say."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db import transaction

from facility import services
from facility.evidence import read_back
from treatments.compute.beside import spread
from treatments.compute.instrument import DepthUnit, InstrumentError, Layout, TimeForm, decoded
from treatments.compute.recorded import left_surface
from treatments.compute.samples import Samples, read
from treatments.compute.segmentation import Piece, PieceKind, SegmentationError, cut
from treatments.models import RecordedProfile
from treatments.reference.laws import scales, segmentation, tolerances

if TYPE_CHECKING:
    from collections.abc import Sequence

    from facility.events import Actor
    from facility.models import Evidence
    from treatments.models import Run

#: the scale between sea water and pressure that records are kept in
SCALE = "1 msw = 3.2646 fsw"
NAMED_ROWS = 8
MOST_CHANGES = 100
SURFACE_MOST_FSW = 5.0  # common practice, no source: what starts deeper does not start at the surface
DIGITS = 4


@dataclass(frozen=True, slots=True)
class Look:
    """What a layout makes of a file, before anything is stored. ``offset_s``: second at which it leaves the surface."""

    samples: Samples
    pieces: tuple[Piece, ...]
    offset_s: float
    findings: list[dict[str, Any]]

    @property
    def deepest_fsw(self) -> float:
        """The deepest sample."""
        return max(self.samples.depths_fsw)

    @property
    def lasts_min(self) -> float:
        """From the first sample to the last."""
        return self.samples.times_s[-1] / 60

    @property
    def gaps(self) -> list[Piece]:
        """The pieces in which nothing was recorded."""
        return [one for one in self.pieces if one.kind is PieceKind.GAP]


def look(run: Run, text: str, layout: Layout) -> Look:
    """Read and cut a text by its layout, and put it onto the clock of the run.

    Errors: InstrumentError naming the row; a record too short to be cut is one too.
    """
    zone = ZoneInfo(run.chamber.site.zone)
    samples = read(text, layout, scales()[SCALE], zone)
    try:
        pieces = cut(samples.times_s, samples.depths_fsw, segmentation())
    except SegmentationError as error:
        raise InstrumentError("%(why)s", why=str(error)) from None
    if not pieces:
        raise InstrumentError(
            "No two samples lie within %(gap)s s of each other: a record this thin shows no stops. Export more samples.",
            gap=f"{segmentation().gap_s:g}",
        )
    place, findings = _surface(pieces)
    offset_s = pieces[place].start_min * 60
    findings += _of_rows(samples) + _of_clock(run, samples, offset_s)
    apart = spread(samples.times_s, samples.depths_fsw, pieces, segmentation().tolerance_fsw)
    if apart is not None:
        findings.append(
            {"code": "apart", "count": apart.count, "minute": round(apart.minute - offset_s / 60, DIGITS),
             "sample_fsw": round(apart.sample_fsw, 2), "piece_fsw": round(apart.piece_fsw, 2)}
        )  # fmt: skip
    return Look(samples, pieces, offset_s, findings + _of_gas(samples, offset_s / 60))


def _surface(pieces: Sequence[Piece]) -> tuple[int, list[dict[str, Any]]]:
    """Return the piece that leaves the surface; where the record shows none, the first one, and say so."""
    tolerance = tolerances().depth_fsw
    lowest = min(min(one.start_fsw, one.end_fsw) for one in pieces)
    findings: list[dict[str, Any]] = []
    if tolerance < abs(lowest) <= SURFACE_MOST_FSW:
        findings.append({"code": "zero", "fsw": round(lowest, 2)})
    surface = max(tolerance, lowest + tolerance) if lowest <= SURFACE_MOST_FSW else tolerance
    try:
        return left_surface(pieces, surface), findings
    except SegmentationError:
        return 0, [*findings, {"code": "no_descent", "fsw": round(pieces[0].start_fsw, 2)}]


def _of_rows(samples: Samples) -> list[dict[str, Any]]:
    named = (("without_depth", samples.without_depth), ("repeated", samples.repeated))
    return [{"code": code, "count": len(rows), "rows": list(rows[:NAMED_ROWS])} for code, rows in named if rows]


def _of_clock(run: Run, samples: Samples, offset_s: float) -> list[dict[str, Any]]:
    """Say how far the instrument's clock is from the log's, where both tell when the surface was left."""
    if samples.begins_at is None or run.started_at is None:
        return []
    seconds = (samples.begins_at - run.started_at).total_seconds() + offset_s
    return [{"code": "clock", "seconds": round(seconds, 1)}]


def _of_gas(samples: Samples, offset_min: float) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    if samples.gas:
        changes = [[round(minute - offset_min, DIGITS), said] for minute, said in samples.gas[:MOST_CHANGES]]
        found.append({"code": "gas", "changes": changes, "count": len(samples.gas)})
    if samples.oxygen:
        low, high = (pick(samples.oxygen, key=lambda one: one[1]) for pick in (min, max))
        found.append({"code": "oxygen", "low": [round(low[0] - offset_min, DIGITS), low[1]],
                      "high": [round(high[0] - offset_min, DIGITS), high[1]]})  # fmt: skip
    return found


def text_of(evidence: Evidence) -> tuple[str, str]:
    """Return the text of a stored file and its encoding. Errors: ValidationError if the file is gone or altered."""
    return decoded(read_back(evidence))


@transaction.atomic
def keep(run: Run, evidence: Evidence, layout: Layout, instrument: str, *, by: Actor) -> RecordedProfile:
    """Store a recorded profile of a run with its event.

    Errors: InstrumentError as look(); ValidationError if a field refuses it.
    """
    text, encoding = text_of(evidence)
    found = look(run, text, layout)
    row = RecordedProfile(
        run=run, evidence=evidence, instrument=instrument, depth_unit=str(layout.unit), samples=len(found.samples.times_s),
        offset_s=round(found.offset_s, DIGITS), columns=stored(layout) | {"encoding": encoding},
        pieces=[[str(one.kind), *(round(value, DIGITS) for value in _values(one))] for one in found.pieces],
        findings=found.findings, occurred_at=run.started_at or found.samples.begins_at,
    )  # fmt: skip
    return services.add(row, by=by, action="recorded profile taken in")


def _values(one: Piece) -> tuple[float, float, float, float]:
    return one.start_min, one.end_min, one.start_fsw, one.end_fsw


def stored(layout: Layout) -> dict[str, Any]:
    """Return a layout as it is stored."""
    values = asdict(layout)
    return values | {
        "time_form": str(layout.time_form), "unit": str(layout.unit or ""),
        "day": layout.day.isoformat() if layout.day else None,
    }  # fmt: skip


def layout_of(row: RecordedProfile) -> Layout:
    """Return the layout that a stored profile was read by."""
    values = {name: value for name, value in row.columns.items() if name != "encoding"}
    day = values["day"]
    return Layout(**values | {
        "time_form": TimeForm(values["time_form"]), "unit": DepthUnit(values["unit"]),
        "day": date.fromisoformat(day) if day else None,
    })  # fmt: skip
