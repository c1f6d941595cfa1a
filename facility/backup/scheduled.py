"""The scheduled backup: made, copied to the second place when that is there, old ones removed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.utils.translation import gettext as _

from facility import events
from facility.backup import keys, making, store

if TYPE_CHECKING:
    from collections.abc import Callable


def run(say: Callable[[str], object] = making.silent) -> str:
    """Make today's backup, copy it, prune, and return one sentence on what was done."""
    made = making.make(store.folder(), keys.made_in(settings.DATA_DIR), by=events.system("backup"), say=say)
    told = [_("Made %(file)s with %(count)d events.") % {"file": made.path.name, "count": made.manifest.events}]
    places = [store.folder()]
    if second := store.copy_folder():
        say(_("Copying to %(folder)s") % {"folder": second})
        told.append(_("Copied to %(folder)s.") % {"folder": store.copy(made.path, second).parent})
        places.append(second)
    elif settings.BACKUP_COPY is not None:
        told.append(_("No second copy: %(folder)s is not there.") % {"folder": settings.BACKUP_COPY})
    told.append(_("Removed %(count)d old ones.") % {"count": sum(store.prune(place) for place in places)})
    if made.manifest.missing:
        told.append(_("Evidence files missing or damaged: %(count)d.") % {"count": len(made.manifest.missing)})
    if made.manifest.faults:
        told.append(_("The record check found: %(what)s") % {"what": made.manifest.faults[0]})
    return " ".join(told)
