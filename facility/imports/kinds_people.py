"""The files about people: who they are, what they hold, duty, and whom to call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.access import Act
from facility.imports.cells import CellError, Column, Reading, choice, day, instant, reference, slug, text, yes_no
from facility.imports.kind import FileKind
from facility.models import (
    Contact,
    ContactKind,
    DutyPeriod,
    MedicalFitness,
    MedicalOutcome,
    Person,
    QualificationHeld,
    QualificationKind,
)

if TYPE_CHECKING:
    from facility.imports.store import Store
    from facility.models import Site

PERSON = Column("person", reference("people.csv"), gettext_lazy("key of the person"), required=True)


class PersonFile(FileKind):
    file = "people.csv"
    model = Person
    about = gettext_lazy("People of the crew and about the site.")
    act = Act.PEOPLE
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("unique at the site, for example k-lindqvist"), required=True),
        Column("name", text(150), gettext_lazy("name on the pages"), required=True),
        Column("phone", text(60), gettext_lazy("telephone")),
        Column("note", text(300), gettext_lazy("note")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}


class QualificationKindFile(FileKind):
    file = "qualification_kinds.csv"
    model = QualificationKind
    about = gettext_lazy("Qualifications that roles of a plan may demand.")
    act = Act.PEOPLE
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("for example panel-operator"), required=True),
        Column("name", text(120), gettext_lazy("name on the pages"), required=True),
        Column("note", text(300), gettext_lazy("note")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(organisation=site.organisation)

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"organisation": store.the_site().organisation}


class QualificationFile(FileKind):
    file = "qualifications.csv"
    model = QualificationHeld
    about = gettext_lazy("Certificates that people hold, each with its dates.")
    act = Act.PEOPLE
    key = ("person", "qualification", "issued_on")
    columns = (
        PERSON,
        Column("qualification", reference("qualification_kinds.csv"), gettext_lazy("its key"), required=True),
        Column("issued_on", day, gettext_lazy("day it was issued"), required=True),
        Column("expires_on", day, gettext_lazy("good through this day; empty: no end is printed on it")),
        Column("number", text(80), gettext_lazy("number of the certificate")),
        Column("issuer", text(150), gettext_lazy("who issued it")),
        Column(
            "second_look_by", text(150), gettext_lazy("who read the dates a second time; empty: it does not count yet")
        ),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(person__site=site).select_related("person__site", "kind")

    def field_of(self, column: str) -> str:
        return "kind" if column == "qualification" else column

    def check(self, reading: Reading) -> None:
        expires, issued = reading.values.get("expires_on"), reading.values["issued_on"]
        if expires is not None and expires < issued:
            raise CellError(
                _("comes before the day of issue %(day)s") % {"day": issued}, _("the day of issue or later"),
                _("Read both days on the certificate again; are day and month in the stated order?"), "expires_on",
            )  # fmt: skip


class MedicalFile(FileKind):
    file = "medicals.csv"
    model = MedicalFitness
    about = gettext_lazy("Outcome of each medical examination; never the findings.")
    act = Act.MEDICAL
    key = ("person", "examined_on")
    columns = (
        PERSON,
        Column("examined_on", day, gettext_lazy("day of the examination"), required=True),
        Column("good_until", day, gettext_lazy("last day on which it counts"), required=True),
        Column("outcome", choice(MedicalOutcome), gettext_lazy("what the physician wrote"),
               ", ".join(MedicalOutcome.values), required=True),
        Column("physician", text(150), gettext_lazy("who examined")),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(person__site=site).select_related("person__site")

    def check(self, reading: Reading) -> None:
        if reading.values["good_until"] < reading.values["examined_on"]:
            raise CellError(
                _("comes before the examination"), _("the day of the examination or later"),
                _("Read both days on the paper again."), "good_until",
            )  # fmt: skip


class DutyFile(FileKind):
    file = "duty.csv"
    model = DutyPeriod
    about = gettext_lazy("Spans in which people are on duty or on call.")
    act = Act.PEOPLE
    key = ("person", "starts_at")
    columns = (
        PERSON,
        Column("starts_at", instant, gettext_lazy("from, local time"), required=True),
        Column("ends_at", instant, gettext_lazy("until, local time; off duty from this instant"), required=True),
        Column("on_call", yes_no, gettext_lazy("yes: on call, not on site"), "yes, no"),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(person__site=site).select_related("person__site")

    def check(self, reading: Reading) -> None:
        if reading.values["ends_at"] <= reading.values["starts_at"]:
            raise CellError(
                _("does not come after the start of duty"), "", _("Write the end of the span, on the right day."),
                "ends_at",
            )  # fmt: skip


class ContactFile(FileKind):
    file = "contacts.csv"
    model = Contact
    about = gettext_lazy("Whom to call, and when the number was last right.")
    act = Act.PEOPLE
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("unique at the site"), required=True),
        Column("kind", choice(ContactKind), gettext_lazy("why one would call"), ", ".join(ContactKind.values),
               required=True),
        Column("name", text(150), gettext_lazy("who answers"), required=True),
        Column("phone", text(80), gettext_lazy("telephone"), required=True),
        Column("other", text(200), gettext_lazy("other ways")),
        Column("confirmed_on", day, gettext_lazy("day somebody rang it and it was right")),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}
