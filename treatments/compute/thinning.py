"""A recorded profile thinned for a picture: of each column of pixels the first, the extremes and the last sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Sample = tuple[float, float]  # minute, fsw


def thinned(samples: Sequence[Sample], start: float, end: float, columns: int) -> tuple[Sample, ...]:
    """Return the samples of a span that a picture so many pixels wide can show: no peak is lost.

    ``samples``: in the order of their minutes. At most four a column. Valid: what lies outside the span is left out.

    >>> thinned([(0, 0), (0.1, 60), (0.2, 1), (0.3, 2), (1, 3)], 0, 2, 2)
    ((0, 0), (0.1, 60), (0.3, 2), (1, 3))
    """
    if columns < 1 or end <= start:
        return ()
    kept: list[Sample] = []
    column: list[Sample] = []
    at = -1
    for one in samples:
        if not start <= one[0] <= end:
            continue
        place = min(int((one[0] - start) / (end - start) * columns), columns - 1)
        if place != at and column:
            kept += _extremes(column)
            column = []
        at = place
        column.append(one)
    return (*kept, *_extremes(column)) if column else tuple(kept)


def _extremes(column: Sequence[Sample]) -> list[Sample]:
    places = {0, len(column) - 1}
    places.add(min(range(len(column)), key=lambda n: column[n][1]))
    places.add(max(range(len(column)), key=lambda n: column[n][1]))
    return [column[n] for n in sorted(places)]
