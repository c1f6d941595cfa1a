"""Treatment tables: shipped ones, and the site's own."""

from __future__ import annotations

from typing import Any

from facility import services
from facility.access import Act
from facility.models import Site
from tests import make
from tests.treatments.table_book.support import PARTS
from treatments.models import SiteTable
from treatments.table_book.services import confirm
from treatments.table_book.tables import table_for

PAGES = {
    "treatments:tables": Act.SEE, "treatments:table": Act.SEE, "treatments:confirm_table": Act.LOG,
    "treatments:new_table": Act.RULES, "treatments:edit_table": Act.RULES, "treatments:approve_table": Act.RULES,
    "treatments:withdraw_table": Act.RULES, "treatments:take_back_comparison": Act.LOG,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    own = services.add(SiteTable(site=site, key="house", parts=PARTS, source="x", proposed_by="Ina Test"), by=make.BY)
    compared = confirm(site, "TT5", "book", shown_digest=table_for(site, "TT5").digest, by=make.BY)
    shipped, changed = {"table": "TT6"}, {"table": own.key}
    return {
        "treatments:table": shipped, "treatments:confirm_table": shipped, "treatments:edit_table": changed,
        "treatments:approve_table": own, "treatments:withdraw_table": own,
        "treatments:take_back_comparison": compared,
    }  # fmt: skip
