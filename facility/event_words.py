"""What happened and who did it, as the log's short words are shown to people."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

#: what the name of a job or command begins with in the log, as ``events.system`` writes it
SYSTEM = "system:"
#: what stands before the colon of an action that is no plain sentence, and what people read for it
AREAS = {
    "flag": gettext_lazy("found by the daily look: %(what)s"),
    "account": gettext_lazy("account: %(what)s"),
    "backup": gettext_lazy("backup %(what)s"),
    "job": gettext_lazy("job %(what)s"),
    "told": gettext_lazy("notice: %(what)s"),
    "records": gettext_lazy("records %(what)s"),
    "security": gettext_lazy("security: %(what)s"),
    "software": gettext_lazy("software %(what)s"),
}
#: what says too little where it stands without its subject
ALONE = {
    "answered": gettext_lazy("check step answered"),
    "sheet version added": gettext_lazy("check sheet, new version"),
}


def acted(action: str) -> str:
    """Return what was done in words.

    >>> acted("flag:overdue"), acted("defect raised")
    ('found by the daily look: overdue', 'defect raised')
    >>> acted("records:checked-after-unclean-stop"), acted("account:e-mail chosen")
    ('records checked after unclean stop', 'account: e-mail chosen')
    >>> acted("answered")
    'check step answered'
    """
    area, colon, what = action.partition(":")
    words = AREAS.get(area) if colon else None
    if words is None:
        return str(ALONE.get(action) or _(action))
    plain = what if " " in what else what.replace("-", " ")
    return words % {"what": _(plain)}


def who(name: str) -> str:
    """Name who did something; what a job or a command did was done by the box.

    >>> who("Ina Test"), who("system:sweep")
    ('Ina Test', 'this box (sweep)')
    """
    if not name.startswith(SYSTEM):
        return name
    return _("this box (%(job)s)") % {"job": name.removeprefix(SYSTEM)}
