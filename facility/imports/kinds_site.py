"""The files that say what the site is: the site itself, its chambers and their locks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import services
from facility.access import Act
from facility.imports.cells import CellError, Column, Reading, choice, number, reference, slug, text, whole
from facility.imports.kind import FileKind
from facility.imports.limits import refuse_improbable
from facility.models import Chamber, Lock, LockKind, Organisation, PressureUnit, Site, VolumeUnit

if TYPE_CHECKING:
    from facility.imports.store import Key, Store


class SiteFile(FileKind):
    file = "site.csv"
    model = Site
    about = gettext_lazy("The site: one line. Needed once; later only to correct it.")
    act = Act.RULES
    key = ("key",)
    columns = (
        Column("organisation", slug, gettext_lazy("key of who runs the site"), required=True, stored=False),
        Column("organisation_name", text(200), gettext_lazy("its name"), stored=False),
        Column("key", slug, gettext_lazy("short key of the site, for example skerrow"), required=True),
        Column("name", text(200), gettext_lazy("name of the site"), required=True),
        Column("zone", text(60), gettext_lazy("time zone, for example Europe/Oslo"), required=True),
        Column("jurisdiction", text(200), gettext_lazy("whose codes apply here")),
        Column("evacuation_plan", text(4000), gettext_lazy("what this site does when it cannot treat")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(pk=site.pk)

    def check(self, reading: Reading) -> None:
        here = reading.store.site
        if here is not None and here.key != reading.values["key"]:
            raise CellError(
                _("is another site than the one these files go to"), here.key,
                _("One folder holds one site; take the others' lines into folders of their own."), "key",
            )  # fmt: skip

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        found = super().differences(stored, reading)
        if stored.organisation.key != reading.values["organisation"]:
            found["organisation"] = (stored.organisation.key, reading.values["organisation"])
        return found

    def add(self, reading: Reading) -> Site:
        fields = {**self.fields(reading), "organisation": self._organisation(reading)}
        site = services.add(Site(**fields), by=reading.store.by, action="imported")
        reading.store.site = site
        return site

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Site:
        site = Site.objects.get(pk=stored.pk)
        for name, (_old, new) in changed.items():
            setattr(site, name, self._organisation(reading) if name == "organisation" else new)
        services.change(site, by=reading.store.by, reason=self.reason, shown_version=site.row_version)
        reading.store.site = site
        return site

    def _organisation(self, reading: Reading) -> Organisation:
        wanted = reading.values["organisation"]
        rows: Any = Organisation.objects.filter(key=wanted)
        found: Organisation | None = rows.first()
        if found is None:
            name = reading.values.get("organisation_name") or wanted
            found = services.add(Organisation(key=wanted, name=name), by=reading.store.by, action="imported")
        return found


class ChamberFile(FileKind):
    file = "chambers.csv"
    model = Chamber
    about = gettext_lazy("Pressure chambers for people.")
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("unique at the site, for example chamber-1"), required=True),
        Column("name", text(120), gettext_lazy("name on the pages"), required=True),
        Column("kind", text(200), gettext_lazy("for example two-lock, air-filled")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}


CHAMBER = Column("chamber", reference("chambers.csv"), gettext_lazy("key of the chamber"), required=True)


class LockFile(FileKind):
    file = "locks.csv"
    model = Lock
    about = gettext_lazy("Compartments of the chambers, in the units of their own papers.")
    key = ("chamber", "key")
    columns = (
        CHAMBER,
        Column("key", slug, gettext_lazy("unique in the chamber, for example inner"), required=True),
        Column("name", text(120), gettext_lazy("name on the pages"), required=True),
        Column("kind", choice(LockKind), gettext_lazy("what it is for"), ", ".join(LockKind.values), required=True),
        Column("volume", number("0.001", "999999"), gettext_lazy("volume as on the papers"), required=True),
        Column("volume_unit", choice(VolumeUnit), gettext_lazy("unit of the volume"), ", ".join(VolumeUnit.values)),
        Column("occupants", whole(0, 100), gettext_lazy("people at most"), required=True),
        Column("working_pressure", number("0", "999999"), gettext_lazy("working pressure, gauge"), required=True),
        Column(
            "working_pressure_unit", choice(PressureUnit), gettext_lazy("its unit, gauge"), ", ".join(PressureUnit.values)
        ),
        Column("gauge_unit", choice(PressureUnit), gettext_lazy("unit on the depth gauges"), ", ".join(PressureUnit.values)),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site")

    def key_of(self, row: Any) -> Key:
        return (row.chamber, row.key)

    def check(self, reading: Reading) -> None:
        stated, values = reading.format, reading.values
        for column, default in (("volume_unit", stated.volume_unit), ("working_pressure_unit", stated.pressure_unit)):
            if values.get(column) is None and not default:
                raise CellError(
                    _("no unit is given, and files.csv states none for this file"), "",
                    _("Fill the column, or state the unit in files.csv."), column,
                )  # fmt: skip
            values[column] = values.get(column) or default
            reading.blank.discard(column)
        refuse_improbable(values["working_pressure"], values["working_pressure_unit"], "working_pressure")
