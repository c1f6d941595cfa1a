"""What a recorded profile does not say or says otherwise, as sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

MINUTE_S = 60


def lines_about(findings: Iterable[Mapping[str, Any]]) -> list[str]:
    """Return one sentence a finding, in the order in which they were found."""
    return [_SAID[one["code"]](one) for one in findings if one["code"] in _SAID]


def _rows(one: Mapping[str, Any]) -> str:
    more = ", …" if one["count"] > len(one["rows"]) else ""
    return f"{counted(one['count'], 'row', 'rows')} ({', '.join(str(row) for row in one['rows'])}{more})"


def _without_depth(one: Mapping[str, Any]) -> str:
    return _("Left out for want of a depth: %(rows)s.") % {"rows": _rows(one)}


def _repeated(one: Mapping[str, Any]) -> str:
    return _("The time of the row before stands in %(rows)s; each such time is one sample at their mean depth.") % {
        "rows": _rows(one)
    }


def _clock(one: Mapping[str, Any]) -> str:
    seconds = float(one["seconds"])
    if abs(seconds) < 1:
        return _("The clock of the instrument and the log agree on when the surface was left.")
    size = _("%(minutes)d min %(seconds)d s") % {
        "minutes": abs(seconds) // MINUTE_S,
        "seconds": round(abs(seconds) % MINUTE_S),
    }
    if seconds > 0:
        return _("The clock of the instrument has the surface left %(size)s later than the log. One of the clocks is off, or the line was written by another.") % {"size": size}  # fmt: skip
    return _("The clock of the instrument has the surface left %(size)s earlier than the log. One of the clocks is off, or the line was written by another.") % {"size": size}  # fmt: skip


def _zero(one: Mapping[str, Any]) -> str:
    return _("At the surface the record shows %(fsw)s fsw, not 0: every depth may be off by as much.") % {
        "fsw": one["fsw"]
    }


def _no_descent(one: Mapping[str, Any]) -> str:
    return _(
        "The record does not show the surface being left; it begins at %(fsw)s fsw. Its first sample is laid on that moment, so its times may be off."
    ) % {"fsw": one["fsw"]}


def _apart(one: Mapping[str, Any]) -> str:
    return _(
        "Apart from the piece it lies in stands: %(samples)s. The furthest: %(sample).1f fsw at minute %(minute).1f, where the piece has %(piece).1f fsw."
    ) % {
        "samples": counted(one["count"], "sample", "samples"),
        "sample": one["sample_fsw"],
        "minute": one["minute"],
        "piece": one["piece_fsw"],
    }


def _gas(one: Mapping[str, Any]) -> str:
    changes = "; ".join(
        _("%(gas)s from minute %(minute).1f") % {"gas": said or _("nothing"), "minute": minute}
        for minute, said in one["changes"]
    )
    return _("Gas as recorded: %(changes)s.") % {"changes": changes}


def _oxygen(one: Mapping[str, Any]) -> str:
    return _("O2 %% as recorded: lowest %(low)g at minute %(low_min).1f, highest %(high)g at minute %(high_min).1f.") % {
        "low": one["low"][1], "low_min": one["low"][0], "high": one["high"][1], "high_min": one["high"][0],
    }  # fmt: skip


_SAID: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "without_depth": _without_depth, "repeated": _repeated, "clock": _clock, "zero": _zero,
    "no_descent": _no_descent, "apart": _apart, "gas": _gas, "oxygen": _oxygen,
}  # fmt: skip
