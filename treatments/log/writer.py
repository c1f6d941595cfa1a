"""One device writes the log of a run, the others watch; any of them may take over, in one act with its event."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services

if TYPE_CHECKING:
    from facility.events import Actor
    from treatments.log.services import Given
    from treatments.models import LogEntry, Run

DEVICE_LENGTH = 40


@transaction.atomic
def take_over(run: Run, device: str, *, by: Actor) -> Run:
    """Let this device write the log from now on; the same device again changes nothing.

    Errors: ChangedMeanwhileError if the run changed after ``run`` was read.
    """
    device = device[:DEVICE_LENGTH]
    if (run.writer_device, run.writer_user) == (device, by.user_id):
        return run
    before = run.writer
    run.writer, run.writer_user, run.writer_device, run.writer_since = by.name, by.user_id, device, events.now()
    reason = _("Taken over from %(who)s.") % {"who": before} if before else _("First to write in this log.")
    action = "log taken over" if before else "log taken up"
    return services.change(run, by=by, reason=reason, shown_version=run.row_version, action=action)


def note(run: Run, row: LogEntry, given: Given, *, by: Actor) -> None:
    """Mark an entry of a device that is not the writer's; whoever writes first where nobody does becomes the writer.

    An entry is never refused for this: what was queued before a take-over still happened.
    """
    if not given.device or given.from_paper:
        return
    if not run.writer_device:
        # an ordinary entry reads its run in part: the change is told with all of it
        whole = run if not run.get_deferred_fields() else type(run)._default_manager.get(pk=run.pk)
        take_over(whole, given.device, by=by)
        run.writer, run.writer_device, run.row_version = whole.writer, whole.writer_device, whole.row_version
    elif run.writer_device != given.device[:DEVICE_LENGTH]:
        row.values = row.values | {"beside_writer": run.writer}
