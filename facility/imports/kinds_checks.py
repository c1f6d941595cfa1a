"""The files about house rules, check sheets with the site's own limits, and checks walked on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import house, services
from facility import reference as reference_data
from facility.access import Act
from facility.compute.sheet_steps import SheetError, parse_steps, plain_step
from facility.imports.cells import CellError, Column, Place, Reading, choice, instant, number, reference, slug, text
from facility.imports.kind import FileKind, copied
from facility.imports.kinds_site import CHAMBER
from facility.imports.parts import PartFile, parts_of
from facility.models import Check, CheckResult, CheckSheet, CheckState, HouseRule, Occasion, SheetVersion
from facility.walk.reference import default_sheets

if TYPE_CHECKING:
    from facility.imports.parts import Part
    from facility.imports.store import Key, Store
    from facility.models import Kept, Site


class HouseRuleFile(FileKind):
    file = "house_rules.csv"
    model = HouseRule
    about = gettext_lazy("Limits, ages and margins that the site has set. What is not set has a default.")
    act = Act.RULES
    key = ("key",)
    columns = (
        Column("key", text(60), gettext_lazy("which rule"), required=True),
        Column("value", number("0", "999999"), gettext_lazy("its value, in the unit of the rule"), required=True),
        Column("approved_by", text(150), gettext_lazy("who approved it"), required=True),
        Column("in_force_from", instant, gettext_lazy("local time"), required=True),
        Column("note", text(500), gettext_lazy("why")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}

    def check(self, reading: Reading) -> None:
        known = reference_data.house_rule_definitions()
        if reading.values["key"] not in known:
            raise CellError(_("is not a house rule"), ", ".join(known), _("Write one of these keys."), "key")
        rule = known[reading.values["key"]]
        if not house.may_be(rule, reading.values["value"]):
            what = _("does not fit the rule %(rule)s") % {"rule": rule.name}
            raise CellError(what, house.allowed(rule), _("Write what is allowed."), "value")

    def add(self, reading: Reading) -> Kept:
        past = reading.store.past_rows(self.file).get((reading.values["key"],), [])
        rule = HouseRule(**self.fields(reading), version=1 + max((row.version for row in past), default=0))  # type: ignore[attr-defined]
        return services.add(rule, by=reading.store.by, action="imported")


class LimitFile(PartFile):
    file = "sheet_limits.csv"
    about = gettext_lazy("The site's own limits, tags and banks on steps of its check sheets.")
    act = Act.RULES
    part_of = "sheets.csv"
    of = "sheet"
    key = ("chamber", "sheet", "step")
    columns = (
        CHAMBER,
        Column("sheet", slug, gettext_lazy("key of the sheet, as in sheets.csv"), required=True),
        Column("step", slug, gettext_lazy("key of the step"), required=True),
        Column("low", number("-9999", "999999"), gettext_lazy("lowest reading that is good")),
        Column("high", number("-9999", "999999"), gettext_lazy("highest reading that is good")),
        Column("unit", text(12), gettext_lazy("unit printed on the gauge")),
        Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item that the step looks at")),
        Column("bank", reference("banks.csv"), gettext_lazy("gas bank that the step reads")),
    )


class SheetFile(FileKind):
    file = "sheets.csv"
    model = CheckSheet
    about = gettext_lazy("Check sheets of a chamber, each from a sheet that the app ships.")
    act = Act.RULES
    key = ("chamber", "key")
    columns = (
        CHAMBER,
        Column("key", slug, gettext_lazy("unique in the chamber"), required=True),
        Column("title", text(150), gettext_lazy("title on the pages"), required=True),
        Column("occasion", choice(Occasion), gettext_lazy("when it is walked"), ", ".join(Occasion.values), required=True),
        Column("start_from", text(60), gettext_lazy("the shipped sheet it starts from: daily, before-run, after-run"),
               required=True, stored=False),
        Column("approved_by", text(150), gettext_lazy("who approved it"), required=True, stored=False),
        Column("in_force_from", instant, gettext_lazy("local time"), required=True, stored=False),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site")

    def check(self, reading: Reading) -> None:
        values, store = reading.values, reading.store
        shipped = default_sheets()
        if values["start_from"] not in shipped:
            raise CellError(
                _("is not a sheet that the app ships"),
                ", ".join(shipped),
                _("Write one of these."),
                "start_from",
            )
        version = _in_force(store, (values["chamber"], values["key"]))
        steps = version.steps if version else list(shipped[values["start_from"]].plain)
        limits = parts_of(store, LimitFile.file, (values["chamber"], values["key"]))
        values["steps"] = _limited(steps, limits)

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        found = super().differences(stored, reading)
        version = _in_force(reading.store, (stored.chamber, stored.key))
        if version is None or _plain(version.steps) != reading.values["steps"]:
            found["steps"] = ("" if version is None else version.steps, reading.values["steps"])
        return found

    def add(self, reading: Reading) -> Kept:
        sheet = super().add(reading)
        self._put_in_force(sheet, None, reading)
        return sheet

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Kept:
        sheet = super().correct(stored, changed, reading)
        if "steps" in changed:
            self._put_in_force(sheet, _in_force(reading.store, (stored.chamber, stored.key)), reading)
        return sheet

    def _put_in_force(self, sheet: Any, old: SheetVersion | None, reading: Reading) -> None:
        values, store = reading.values, reading.store
        stated = {
            "approved_by": values["approved_by"],
            "in_force_from": values["in_force_from"],
            "steps": values["steps"],
        }
        if old is None:
            version = SheetVersion(sheet=sheet, version=1, **stated)
            services.add(version, by=store.by, action="imported")
        else:
            version = SheetVersion(**{**copied(old), **stated, "version": old.version + 1})
            services.supersede(old, version, by=store.by, reason=self.reason)
        store.versions[sheet.chamber, sheet.key] = version


def _in_force(store: Store, owner: Key) -> SheetVersion | None:
    """Return the version of a sheet that is in force."""
    if not store.versions and store.site is not None:
        rows: Any = SheetVersion.objects.filter(sheet__chamber__site=store.site, retired_at=None)
        store.versions.update(
            {(row.sheet.chamber, row.sheet.key): row for row in rows.select_related("sheet__chamber__site")}
        )
    return store.versions.get(owner)


def _plain(steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return steps in their one shape. Errors: SheetError."""
    return [plain_step(step) for step in parse_steps(steps)]


def _limited(steps: list[dict[str, Any]], limits: list[Part]) -> list[dict[str, Any]]:
    """Return the steps with the site's limits. Errors: CellError at the line that does not fit."""
    changed = {str(step["key"]): dict(step) for step in steps}
    for part in limits:
        name = part.values["step"]
        if name not in changed:
            raise CellError(
                _("is not a step of this sheet"), ", ".join(changed), _("Write one of these keys."), "step",
                Place(part.file, part.line, name),
            )  # fmt: skip
        changed[name].update(_stated(part))
    try:
        return _plain(list(changed.values()))
    except SheetError as error:
        place = Place(limits[0].file, limits[0].line, "") if limits else None
        raise CellError(str(error).rstrip("."), "", "", "", place) from None


def _stated(part: Part) -> dict[str, str]:
    values = part.values
    stated = {name: f"{values[name]:f}" for name in ("low", "high") if values.get(name) is not None}
    if values.get("unit"):
        stated["unit"] = values["unit"]
    if values.get("tag") is not None:
        stated["tag"] = values["tag"].tag
    if values.get("bank") is not None:
        stated["bank"] = values["bank"].key
    return stated


class CheckFile(FileKind):
    file = "checks.csv"
    model = Check
    about = gettext_lazy("Checks walked and signed on paper before the app: one line each, with its result.")
    act = Act.SIGN
    key = ("sheet", "signed_at")
    columns = (
        Column("chamber", reference("chambers.csv"), gettext_lazy("key of the chamber"), required=True, stored=False),
        Column("sheet", reference("sheets.csv", "chamber"), gettext_lazy("key of the sheet"), required=True),
        Column("started_at", instant, gettext_lazy("begun, local time"), required=True),
        Column("signed_at", instant, gettext_lazy("signed, local time"), required=True),
        Column("signed_by", text(150), gettext_lazy("who signed"), required=True),
        Column(
            "result", choice(CheckResult), gettext_lazy("what it said"), ", ".join(CheckResult.values), required=True
        ),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(sheet__chamber__site=site).select_related("sheet__chamber__site")

    def check(self, reading: Reading) -> None:
        if reading.values["signed_at"] < reading.values["started_at"]:
            raise CellError(
                _("comes before the check was begun"), "", _("Write both instants as on the paper."), "signed_at"
            )

    def add(self, reading: Reading) -> Kept:
        values, store = reading.values, reading.store
        sheet = values["sheet"]
        version = _in_force(store, (sheet.chamber, sheet.key))
        numbers = store.notes.setdefault("check numbers", {})
        if sheet.pk not in numbers:
            numbers[sheet.pk] = Check.objects.filter(sheet=sheet).aggregate(newest=Max("number"))["newest"] or 0
        numbers[sheet.pk] += 1
        check = Check(
            **self.fields(reading), version=version, number=numbers[sheet.pk], state=CheckState.SIGNED,
            started_by=values["signed_by"], on_paper=True,
        )  # fmt: skip
        return services.add(check, by=store.by, action="imported", reason="from paper", late=True)
