"""Answering for heads that the log contradicts, with a reason: after a disk was lost and an older backup put back, say.

An answer takes nothing away: the heads stay where they lie, what was found and why stays in the log and in each pack,
and whoever holds such a head outside will find the contradiction again.
"""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.models import Checkpoint
from facility.trust import checkpoints, keyfiles, looking


class NothingToAnswerError(ValueError):
    """No signed head contradicts the log."""


def answer(reason: str, *, by: events.Actor) -> list[str]:
    """Keep why the log contradicts signed heads; from then on they stand no longer on each page, and heads are signed again.

    Return what still stands, such as a lost key.

    Errors: ValidationError for a blank reason; NothingToAnswerError if nothing contradicts.
    """
    reason = services.need_reason(reason)
    found = [one for one in looking.contradictions() if one.text]
    if not found:
        raise NothingToAnswerError(_("There is nothing to answer for: no signed head contradicts the log."))
    digests = sorted({looking.digest_of(one.text) for one in found})
    told = {"digests": " ".join(digests), "found": "\n".join(one.words for one in found)[:4000], "head": found[-1].text}
    with transaction.atomic():
        for row in Checkpoint.objects.filter(note__in=[one.text for one in found]):
            row.why = f"{checkpoints.ANSWERED}{row.why.removeprefix(checkpoints.ANSWERED)}"[:60]
            row.save(update_fields=["why"])
        events.record(None, events.What(looking.ANSWER, reason=reason, after=told), by=by)
    _put_aside({one.text for one in found})
    checkpoints.forget()
    return looking.check_start()


def _put_aside(texts: set[str]) -> None:
    """Leave the contradicted head beside the database under a name of its own, so that a new one can lie there."""
    beside = keyfiles.path_of(checkpoints.NEWEST)
    if not beside.is_file():
        return
    text = beside.read_bytes().decode(errors="replace")
    if text in texts:
        beside.replace(beside.with_name(f"checkpoint-answered-{looking.digest_of(text)[:16]}.note"))
