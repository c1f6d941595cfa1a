"""Defects, open and returned to service."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.access import Act
from facility.imports.cells import CellError, Column, Reading, choice, day, instant, reference, text, whole
from facility.imports.kind import FileKind
from maintenance.models import Defect, DefectEffect

if TYPE_CHECKING:
    from facility.imports.store import Store
    from facility.models import Kept, Site


def plans(given: str, reading: Reading) -> list[str]:
    """Read keys of plans with blanks between them."""
    known = sorted({str(owner[1]) for owner in reading.store.rows("plans.csv")})
    for word in given.split():
        if word not in known:
            raise CellError(
                _("holds “%(one)s”, which is no plan here") % {"one": word}, ", ".join(known), _("Write keys of plans.")
            )
    return given.split()


class DefectFile(FileKind):
    file = "defects.csv"
    model = Defect
    about = gettext_lazy("What was found wrong, and whether it was returned to service.")
    act = Act.RETURN
    key = ("tag", "bank", "found_at")
    happened = "found_at"
    columns = (
        Column("number", whole(1, 999999), gettext_lazy("number of the tag; empty: the next one")),
        Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item, or empty for a gas bank")),
        Column("bank", reference("banks.csv"), gettext_lazy("key of the gas bank, or empty for an item")),
        Column("what", text(300), gettext_lazy("what is wrong"), required=True),
        Column(
            "effect", choice(DefectEffect), gettext_lazy("what it does"), ", ".join(DefectEffect.values), required=True
        ),
        Column("plans", plans, gettext_lazy("only for these plans, keys with blanks between; empty: all")),
        Column("found_at", instant, gettext_lazy("local time"), required=True),
        Column("expected_back", day, gettext_lazy("expected back; never counts for readiness")),
        Column("returned_at", instant, gettext_lazy("returned to service, local time; empty: still open")),
        Column("returned_by", text(150), gettext_lazy("who returned it")),
        Column("return_note", text(500), gettext_lazy("test made before it went back")),
        Column("witness", text(150), gettext_lazy("second person at the test")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site", "equipment__site", "bank__site")

    def field_of(self, column: str) -> str:
        return "equipment" if column == "tag" else column

    def check(self, reading: Reading) -> None:
        values = reading.values
        if (values.get("tag") is None) == (values.get("bank") is None):
            raise CellError(_("one of tag and bank must be given, and only one"), "", _("Fill one of both."), "tag")
        self._refuse_used_number(reading)
        returned = values.get("returned_at")
        if returned is None:
            return
        if returned < values["found_at"]:
            raise CellError(_("comes before it was found"), "", _("Write the instant of the return."), "returned_at")
        if not values.get("returned_by"):
            raise CellError(
                _("nobody is named for the return to service"), "", _("Write who returned it."), "returned_by"
            )

    def _refuse_used_number(self, reading: Reading) -> None:
        """Refuse a tag number that another defect of the site has."""
        number, store = reading.values.get("number"), reading.store
        if number is None:
            return
        if "defect numbers" not in store.notes:
            stored = [(key, row) for key, rows in store.rows(self.file).items() for row in rows]
            store.notes["defect numbers"] = {row.number: key for key, row in stored if isinstance(row, Defect)}
        key = tuple(reading.values.get(name) for name in self.key)
        if store.notes["defect numbers"].setdefault(number, key) != key:
            raise CellError(
                _("is the tag number of another defect"), "", _("Leave the cell empty: the next number is given."),
                "number",
            )  # fmt: skip

    def add(self, reading: Reading) -> Kept:
        store = reading.store
        if reading.values.get("number") is None:
            newest = Defect.objects.filter(site=store.the_site()).aggregate(newest=Max("number"))["newest"] or 0
            reading.values["number"] = newest + 1
        return super().add(reading)

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}
