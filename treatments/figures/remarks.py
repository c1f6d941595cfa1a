"""What a reader of the figures must know about them: where the log or the table leaves something open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treatments.figures.timing import Timing

UNCONFIRMED = "unconfirmed"


def remarks(found: Timing) -> tuple[str, ...]:
    """Return the remarks, those on the table first."""
    return (*_on_table(found), *_on_log(found), *_on_people(found))


def _on_table(found: Timing) -> Iterator[str]:
    run = found.rows.run
    if found.rows.table is None:
        yield _("This run follows no table: nothing is compared, and no times are planned.")
    elif run.table_standing == UNCONFIRMED:
        yield _("Stop minutes of this table are unconfirmed: nobody has compared them with a printed handbook here.")
    for depth, taken, allowed in () if found.used is None else found.used.beyond:
        if allowed == 0:
            words = _("%(extensions)s logged at %(depth)g fsw: the table states none there. It is not in the plan.")
        else:
            words = _(
                "%(extensions)s logged at %(depth)g fsw: the table states %(allowed)d. More is the physician's;"
                " the tender's oxygen is then not stated."
            )
        yield words % {"extensions": counted(taken, "extension", "extensions"), "depth": depth, "allowed": allowed}


def _on_log(found: Timing) -> Iterator[str]:
    if found.track is None:
        return
    rows = found.rows
    if not rows.over:
        yield _("After the last logged depth the run is taken to be at that depth.")
    strangers = any(one.who.previous_gap_h is None and one.who.is_tender and one.when.spans for one in found.followers)
    if strangers:
        yield _("A tender without a time of a previous exposure is taken to have had none within the look-back.")


def _on_people(found: Timing) -> Iterator[str]:
    changed = [one.who.label for one in found.followers if one.when.spans and not one.when.whole(found.rows.until)]
    if changed:
        yield _(
            "%(who)s: not inside for the whole run. Counted from lock-in to lock-out at the depth of the chamber; the"
            " time in the outer lock is not in this log, and the handbook states the tender's oxygen for a whole run."
        ) % {"who": ", ".join(changed)}
