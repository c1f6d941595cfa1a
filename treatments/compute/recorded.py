"""From the pieces of a recorded profile to what is laid against a plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.compute.phases import NOT_RECORDED
from treatments.compute.segmentation import PieceKind, SegmentationError
from treatments.compute.tables import Segment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treatments.compute.segmentation import Piece


def left_surface(pieces: Sequence[Piece], surface_fsw: float) -> int:
    """Return the place of the piece that leaves the surface.

    ``surface_fsw``: shallower than this counts as the surface.
    Errors: SegmentationError if the record never leaves it.
    """
    for place, one in enumerate(pieces):
        if one.kind is PieceKind.DESCENT and one.start_fsw <= surface_fsw < one.end_fsw:
            return place
    raise SegmentationError(
        f"record: no descent from {surface_fsw:g} fsw or shallower was found. Allowed: a record that leaves the surface."
    )


def recorded(pieces: Sequence[Piece], surface_fsw: float) -> tuple[Segment, ...]:
    """Return the segments of a record from leaving the surface to reaching it; gas is not recorded.

    A gap runs straight from the depth before it to the one after: ask in_gap() before believing what lies there.
    Errors: SegmentationError as left_surface().
    """
    kept = list(pieces[left_surface(pieces, surface_fsw) :])
    while kept[-1].kind is PieceKind.STOP and kept[-1].end_fsw <= surface_fsw:
        kept.pop()
    return tuple(
        Segment(max(one.start_fsw, 0.0), max(one.end_fsw, 0.0), one.minutes, NOT_RECORDED)
        for one in kept
        if one.minutes > 0
    )


def in_gap(minute: float, pieces: Sequence[Piece]) -> bool:
    """Return whether a minute of the record, by its own clock, lies in a gap."""
    return any(one.kind is PieceKind.GAP and one.start_min <= minute <= one.end_min for one in pieces)
