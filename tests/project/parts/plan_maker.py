"""Plans worked out from tables. Nothing is sent: what is put in force goes through the form of plans."""

from __future__ import annotations

from facility.access import Act

PAGES = {
    "treatments:make_plan": Act.SEE, "treatments:every_table": Act.SEE, "treatments:plan_from_table": Act.RULES,
}  # fmt: skip
