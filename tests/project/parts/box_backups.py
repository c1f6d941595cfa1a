"""The backups of the box: no site's page, open to first accounts."""

from __future__ import annotations

from facility.access import Act

PAGES = {"box:backups": Act.ACCOUNTS, "box:ask_backup": Act.ACCOUNTS}
