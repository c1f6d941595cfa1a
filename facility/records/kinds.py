"""Every kind of ground-floor record that has pages, in one explicit tuple."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext_lazy as _

from facility.access import Act
from facility.models import (
    Chamber,
    CheckSheet,
    Contact,
    DutyPeriod,
    Entry,
    Lock,
    MedicalFitness,
    Organisation,
    Person,
    QualificationHeld,
    QualificationKind,
    Site,
)
from facility.records import doubts, states
from facility.records.due import with_loose_work
from facility.records.scope import of_site
from maintenance.models import (
    BankReading,
    Counter,
    Cylinder,
    CylinderAnalysis,
    Equipment,
    GasBank,
    IntervalRule,
    Opening,
    Supply,
    WorkRecord,
)
from treatments.models import PressureWait

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from django.db.models import QuerySet
    from django.utils.functional import _StrPromise

    from facility.models import Kept
    from facility.records.states import Moment, State

    Words = str | _StrPromise
    Say = Callable[[Sequence[Any], Moment], dict[int, State]]
    Doubt = Callable[[dict[str, Any]], list[tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class RecordKind:
    """One kind: its pages, who may change it, and what stands in its lists.

    ``columns`` are attribute paths; two with a space between are a value and its unit.
    ``parents`` are the foreign keys a list may be narrowed by and a new row started from.
    ``title`` names a row where its own name would not do, ``brief`` is what stands under it on the page of another.
    ``past`` names fields that cannot lie in the future, ``happened`` the one that says when.
    """

    slug: str
    model: type[Kept]
    one: Words
    many: Words
    place: str
    act: Act
    fields: tuple[str, ...]
    columns: tuple[str, ...]
    search: tuple[str, ...]
    joins: tuple[str, ...] = ()
    order: tuple[str, ...] = ("pk",)
    parents: tuple[str, ...] = ()
    related: tuple[tuple[str, str], ...] = ()
    say: Say | None = None
    doubt: Doubt | None = None
    past: tuple[str, ...] = ()
    happened: str = ""
    upload: str = ""
    first_account_only: bool = False
    fetch: Callable[[QuerySet[Any]], QuerySet[Any]] | None = None
    title: tuple[str, ...] = ()
    brief: tuple[str, ...] = ()

    def rows(self, site: Site) -> QuerySet[Any]:
        """Return the rows of this kind at a site, with all that their list shows."""
        return self.prepared(of_site(self.model, site))

    def prepared(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        """Return the rows with all that their list shows."""
        joined = rows.select_related(*self.joins) if self.joins else rows
        return self.fetch(joined) if self.fetch else joined

    @property
    def is_entry(self) -> bool:
        """Whether a correction is a new row that supersedes the old one."""
        return issubclass(self.model, Entry)


KINDS: tuple[RecordKind, ...] = (
    RecordKind(
        "organisation", Organisation, _("organisation"), _("organisations"), "setup", Act.RULES,
        fields=Organisation.SHOWN, columns=("name", "key"), search=("name", "key"), order=("name",),
        first_account_only=True,
    ),
    RecordKind(
        "site", Site, _("site"), _("sites"), "setup", Act.RULES,
        fields=Site.SHOWN, columns=("name", "key", "zone", "jurisdiction"), search=("name", "key"), order=("name",),
        first_account_only=True,
    ),
    RecordKind(
        "chamber", Chamber, _("chamber"), _("chambers"), "plant", Act.RULES,
        fields=Chamber.SHOWN, columns=("name", "key", "kind"), search=("name", "key", "kind"), order=("key",),
        related=(("lock", "chamber"), ("sheet", "chamber"), ("opening", "chamber")),
    ),
    RecordKind(
        "lock", Lock, _("lock"), _("locks"), "plant", Act.RULES,
        fields=Lock.SHOWN, search=("name", "key", "chamber__name"), order=("chamber__key", "key"),
        columns=("name", "chamber", "kind", "volume volume_unit", "occupants", "working_pressure working_pressure_unit"),
        joins=("chamber",), parents=("chamber",), related=(("equipment", "lock"),), doubt=doubts.of_lock,
        brief=("name", "kind", "occupants"),
    ),
    RecordKind(
        "person", Person, _("person"), _("people"), "people", Act.PEOPLE,
        fields=(*Person.SHOWN, "user"), columns=("name", "key", "phone", "note"), search=("name", "key", "note"),
        joins=("user",), order=("name",),
        related=(("qualification", "person"), ("medical", "person"), ("duty", "person"), ("wait", "person")),
    ),
    RecordKind(
        "qualification-kind", QualificationKind, _("kind of qualification"), _("kinds of qualification"), "people",
        Act.RULES, fields=QualificationKind.SHOWN, columns=("name", "key", "note"), search=("name", "key"),
        order=("name",), related=(("qualification", "kind"),),
    ),
    RecordKind(
        "qualification", QualificationHeld, _("qualification"), _("qualifications"), "people", Act.PEOPLE,
        fields=("person", "kind", "issued_on", "expires_on", "number", "issuer"),
        columns=("person", "kind", "issued_on", "expires_on", "number"),
        search=("person__name", "kind__name", "number", "issuer"), joins=("person", "kind", "scan"),
        order=("person__name", "kind__name", "-issued_on"), parents=("person", "kind"), say=states.of_qualifications,
        past=("issued_on",), upload="scan", doubt=doubts.of_qualification,
        brief=("kind", "issued_on", "expires_on"),
    ),
    RecordKind(
        "medical", MedicalFitness, _("medical fitness"), _("medical fitness"), "people", Act.MEDICAL,
        fields=MedicalFitness.SHOWN, columns=("person", "examined_on", "good_until", "outcome", "physician"),
        search=("person__name", "physician"), joins=("person",), order=("person__name", "-examined_on"),
        parents=("person",), say=states.of_medicals, past=("examined_on",), doubt=doubts.of_medical,
        brief=("outcome", "examined_on", "good_until"),
    ),
    RecordKind(
        "duty", DutyPeriod, _("duty period"), _("duty periods"), "people", Act.PEOPLE,
        fields=DutyPeriod.SHOWN, columns=("person", "starts_at", "ends_at", "on_call"), search=("person__name",),
        joins=("person",), order=("-starts_at",), parents=("person",), say=states.of_spans, doubt=doubts.of_duty,
        title=("person", "starts_at"), brief=("starts_at", "ends_at"),
    ),
    RecordKind(
        "contact", Contact, _("contact"), _("contacts"), "people", Act.PEOPLE,
        fields=Contact.SHOWN, columns=("name", "kind", "phone", "other"), search=("name", "key", "phone", "other"),
        order=("kind", "name"), say=states.of_contacts, past=("confirmed_on",),
    ),
    RecordKind(
        "equipment", Equipment, _("item of equipment"), _("equipment"), "plant", Act.PLANT,
        fields=Equipment.SHOWN, columns=("tag", "name", "kind", "place"), search=("tag", "name", "serial", "maker", "place"),
        joins=("chamber", "lock__chamber"), order=("tag",), parents=("chamber", "lock"), say=states.of_equipment, fetch=with_loose_work,
        related=(("rule", "equipment"), ("work", "equipment")), past=("in_service_on",),
    ),
    RecordKind(
        "rule", IntervalRule, _("interval rule"), _("interval rules"), "plant", Act.PLANT,
        fields=IntervalRule.SHOWN, columns=("equipment", "name", "months", "days", "counts", "source", "standing"),
        search=("equipment__tag", "equipment__name", "name"), joins=("equipment",), order=("equipment__tag", "name"),
        parents=("equipment",), related=(("work", "rule"),), say=states.of_rules,
        brief=("name", "source"),
    ),
    RecordKind(
        "counter", Counter, _("counter"), _("counters"), "plant", Act.PLANT,
        fields=Counter.SHOWN, columns=("name", "key", "unit", "chamber", "equipment"), search=("name", "key"),
        joins=("chamber", "equipment"), order=("key",), parents=("chamber", "equipment"),
    ),
    RecordKind(
        "work", WorkRecord, _("work record"), _("work records"), "plant", Act.PLANT,
        fields=WorkRecord.SHOWN, columns=("equipment", "rule.name", "done_on", "result", "done_by"),
        search=("equipment__tag", "equipment__name", "rule__name", "done_by", "note"),
        joins=("equipment", "rule__equipment", "evidence"), order=("-done_on", "-pk"), parents=("equipment", "rule"),
        past=("done_on",), upload="evidence", doubt=doubts.of_work,
        title=("equipment.tag", "rule.name", "done_on"), brief=("done_on", "rule.name", "result", "done_by"),
    ),
    RecordKind(
        "bank", GasBank, _("gas bank"), _("gas banks"), "plant", Act.PLANT,
        fields=GasBank.SHOWN, columns=("name", "key", "gas", "minimum_pressure gauge_unit"), search=("name", "key"),
        joins=("chamber",), order=("key",), related=(("cylinder", "bank"), ("reading", "bank")), say=states.of_banks,
        doubt=doubts.of_bank,
    ),
    RecordKind(
        "cylinder", Cylinder, _("cylinder"), _("cylinders"), "plant", Act.PLANT,
        fields=Cylinder.SHOWN, columns=("mark", "bank", "water_litres"), search=("mark", "bank__name"), joins=("bank",),
        order=("bank__key", "mark"), parents=("bank",), related=(("analysis", "cylinder"),), say=states.of_cylinders,
        doubt=doubts.of_cylinder,
        brief=("mark", "water_litres"),
    ),
    RecordKind(
        "analysis", CylinderAnalysis, _("analysis"), _("analyses"), "plant", Act.PLANT,
        fields=CylinderAnalysis.SHOWN, columns=("cylinder", "analysed_at", "result", "oxygen_percent", "analysed_by"),
        search=("cylinder__mark", "analysed_by"), joins=("cylinder__bank",), order=("-analysed_at", "-pk"),
        parents=("cylinder",), past=("analysed_at",), happened="analysed_at",
        title=("cylinder", "result", "analysed_at"), brief=("analysed_at", "result", "oxygen_percent", "analysed_by"),
    ),
    RecordKind(
        "reading", BankReading, _("bank reading"), _("bank readings"), "plant", Act.CHECK,
        fields=BankReading.SHOWN, columns=("bank", "cylinder", "read_at", "pressure unit", "temperature_c", "read_by"),
        search=("bank__name", "read_by"), joins=("bank", "cylinder"), order=("-read_at", "-pk"), parents=("bank",),
        past=("read_at",), happened="read_at", doubt=doubts.of_reading,
        title=("bank", "pressure unit", "read_at"), brief=("pressure unit", "read_at", "read_by"),
    ),
    RecordKind(
        "supply", Supply, _("supply of gas"), _("supplies of gas"), "plant", Act.PLANT,
        fields=Supply.SHOWN, columns=("gas", "supplier", "lead_days", "weekdays"), search=("supplier", "gas"),
        order=("gas", "supplier"), brief=("gas", "supplier", "lead_days"),
    ),
    RecordKind(
        "opening", Opening, _("opening for work"), _("openings for work"), "plant", Act.PLANT,
        fields=Opening.SHOWN, columns=("chamber", "opened_at", "work"), search=("work", "chamber__name"),
        joins=("chamber",), order=("-opened_at",), parents=("chamber",), past=("opened_at",), happened="opened_at",
        title=("chamber", "opened_at"), brief=("opened_at", "work"),
    ),
    RecordKind(
        "wait", PressureWait, _("wait after pressure"), _("waits after pressure"), "people", Act.PEOPLE,
        fields=PressureWait.SHOWN, columns=("person", "starts_at", "ends_at", "why"), search=("person__name", "why"),
        joins=("person",), order=("-ends_at",), parents=("person",), say=states.of_spans,
        title=("person", "ends_at"), brief=("ends_at", "why"),
    ),
    RecordKind(
        "sheet", CheckSheet, _("check sheet"), _("check sheets"), "setup", Act.RULES,
        fields=("chamber", *CheckSheet.SHOWN), columns=("title", "key", "chamber", "occasion"), search=("title", "key"),
        joins=("chamber",), order=("chamber__key", "key"), parents=("chamber",),
        brief=("title", "occasion"),
    ),
)  # fmt: skip

BY_SLUG = {kind.slug: kind for kind in KINDS}
BY_MODEL = {kind.model: kind for kind in KINDS}
