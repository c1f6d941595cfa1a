"""What one was told, what stands open, who answers for it, and how often each kind is acted on."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from facility import events, services
from facility.access import Act
from facility.models import Notice, NoticeMute, Site, Snooze
from tests import make

PAGES = {
    "notices:told": Act.SEE, "notices:answer": Act.DEFECT, "notices:mine": Act.SEE, "notices:lift": Act.SEE,
    "notices:judged": Act.RULES, "notices:flags": Act.SEE, "notices:snooze": Act.PLANT, "notices:wake": Act.PLANT,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return a notice to the site's own ways, a mute and a snooze that exist."""
    now, user = events.now(), make.user(site, "tender")
    notice = Notice.objects.create(
        site=site,
        kind="readiness",
        once_key="walk:site",
        subject="Not ready",
        body="",
        next_action="Look.",
        made_at=now,
    )
    mute = services.add(NoticeMute(site=site, user=user, kind="digest", why="test"), by=make.BY)
    row = Snooze(site=site, thing="rule:1", owner=user, until=now + timedelta(days=1), why="test")
    return {"notices:answer": notice, "notices:lift": mute, "notices:wake": services.add(row, by=make.BY)}
