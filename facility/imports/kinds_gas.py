"""The files about gas: banks, cylinders, analyses and readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.imports.cells import (
    CellError,
    Column,
    Reading,
    choice,
    day,
    instant,
    number,
    reference,
    slug,
    text,
    whole,
)
from facility.imports.kind import FileKind
from facility.imports.limits import refuse_improbable, refuse_temperature
from facility.models import PressureUnit
from maintenance.models import AnalysisResult, BankReading, Cylinder, CylinderAnalysis, Gas, GasBank, Supply

if TYPE_CHECKING:
    from facility.imports.store import Key, Store
    from facility.models import Site

UNITS = ", ".join(PressureUnit.values)
WEEKDAYS = tuple("1234567")
BANK = Column("bank", reference("banks.csv"), gettext_lazy("key of the gas bank"), required=True)


class BankFile(FileKind):
    file = "banks.csv"
    model = GasBank
    about = gettext_lazy("Cylinders piped together behind one gauge.")
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("unique at the site, for example oxygen-1"), required=True),
        Column("name", text(120), gettext_lazy("name on the pages"), required=True),
        Column("gas", choice(Gas), gettext_lazy("gas"), ", ".join(Gas.values), required=True),
        Column("chamber", reference("chambers.csv"), gettext_lazy("key of its chamber; empty: the whole site")),
        Column("gauge_unit", choice(PressureUnit), gettext_lazy("unit on its gauge"), UNITS),
        Column(
            "minimum_pressure", number("0", "99999"), gettext_lazy("not drawn below this, gauge, in the gauge's unit")
        ),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site", "chamber__site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}

    def check(self, reading: Reading) -> None:
        values = reading.values
        if values.get("gauge_unit") is None:
            values["gauge_unit"] = reading.format.pressure_unit or PressureUnit.BAR.value
        if values.get("minimum_pressure") is not None:
            refuse_improbable(values["minimum_pressure"], values["gauge_unit"], "minimum_pressure")


class CylinderFile(FileKind):
    file = "cylinders.csv"
    model = Cylinder
    about = gettext_lazy("The cylinders of each bank. Without a passed analysis one counts for nothing.")
    key = ("bank", "mark")
    columns = (
        BANK,
        Column("mark", text(60), gettext_lazy("serial as stamped on the shoulder"), required=True),
        Column("water_litres", number("0.1", "99999"), gettext_lazy("water capacity in litres"), required=True),
        Column("tested_on", day, gettext_lazy("last pressure test, as stamped; only a month: its last day")),
        Column("test_due_on", day, gettext_lazy("last good day of that test, by the local code and the stamp")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(bank__site=site).select_related("bank__site")

    def check(self, reading: Reading) -> None:
        tested, due = reading.values.get("tested_on"), reading.values.get("test_due_on")
        if tested is not None and due is not None and due < tested:
            raise CellError(_("lies before the last test"), "", _("Read both on the shoulder again."), "test_due_on")


class AnalysisFile(FileKind):
    file = "analyses.csv"
    model = CylinderAnalysis
    about = gettext_lazy("Analyses of the gas in cylinders, by a named person.")
    key = ("cylinder", "analysed_at")
    happened = "analysed_at"
    columns = (
        Column("bank", reference("banks.csv"), gettext_lazy("key of the gas bank"), required=True, stored=False),
        Column("cylinder", reference("cylinders.csv", "bank"), gettext_lazy("mark of the cylinder"), required=True),
        Column("analysed_at", instant, gettext_lazy("local time"), required=True),
        Column("result", choice(AnalysisResult), gettext_lazy("passed or refused"), ", ".join(AnalysisResult.values),
               required=True),
        Column("oxygen_percent", number("0", "100"), gettext_lazy("oxygen found, %")),
        Column("analysed_by", text(150), gettext_lazy("who analysed"), required=True),
        Column("analyser", reference("equipment.csv"), gettext_lazy("tag of the analyser")),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(cylinder__bank__site=site).select_related("cylinder__bank__site", "analyser")


class BankReadingFile(FileKind):
    file = "bank_readings.csv"
    model = BankReading
    about = gettext_lazy("Pressures read on the gauges of banks, in the unit of the gauge.")
    key = ("bank", "cylinder", "read_at")
    happened = "read_at"
    columns = (
        BANK,
        Column(
            "cylinder", reference("cylinders.csv", "bank"), gettext_lazy("only this cylinder; empty: the whole bank")
        ),
        Column("read_at", instant, gettext_lazy("local time"), required=True),
        Column("pressure", number("0", "999999"), gettext_lazy("pressure, gauge"), required=True),
        Column("unit", choice(PressureUnit), gettext_lazy("its unit, gauge"), UNITS),
        Column(
            "temperature_c", number("-90", "90"), gettext_lazy("temperature of the cylinders, °C; empty: taken as 15")
        ),
        Column("read_by", text(150), gettext_lazy("who read it"), required=True),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(bank__site=site).select_related("bank__site", "cylinder__bank__site")

    def key_of(self, row: Any) -> Key:
        return (row.bank, row.cylinder, row.read_at)

    def check(self, reading: Reading) -> None:
        values = reading.values
        unit, of_gauge = values.get("unit") or reading.format.pressure_unit, values["bank"].gauge_unit
        if unit and unit != of_gauge:
            raise CellError(
                _("is not the unit on the gauge of %(bank)s") % {"bank": values["bank"].key}, of_gauge,
                _("Write the pressure as the gauge shows it, or correct gauge_unit in banks.csv."), "unit",
            )  # fmt: skip
        values["unit"] = of_gauge
        refuse_improbable(values["pressure"], of_gauge, "pressure")
        if values.get("temperature_c") is not None:
            refuse_temperature(values["temperature_c"], "temperature_c")


def weekdays(given: str, _reading: Reading) -> list[int]:
    """Read numbers of weekdays with blanks between them."""
    found = given.split()
    if any(one not in WEEKDAYS for one in found):
        raise CellError(
            _("holds a day that is none"), " ".join(WEEKDAYS), _("Write 1 for Monday to 7 for Sunday, blanks between.")
        )
    return sorted({int(one) for one in found})


class SupplyFile(FileKind):
    file = "supplies.csv"
    model = Supply
    about = gettext_lazy("How each gas is bought: how long it takes, on which days it comes.")
    key = ("gas", "supplier")
    columns = (
        Column("gas", choice(Gas), gettext_lazy("gas"), ", ".join(Gas.values), required=True),
        Column("supplier", text(150), gettext_lazy("supplier"), required=True),
        Column("lead_days", whole(0, 999), gettext_lazy("days from order to delivery"), required=True),
        Column("weekdays", weekdays, gettext_lazy("delivers on, 1 Monday to 7 Sunday, blanks between; empty: any day")),
        Column("litres_each", whole(1, 999999), gettext_lazy("one cylinder brings, L at 15 °C and 1 atm")),
        Column("price_each", number("0", "9999999999"), gettext_lazy("price of one cylinder")),
        Column("currency", text(3), gettext_lazy("currency, three letters")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}
