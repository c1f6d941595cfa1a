"""Fill the panels of the Now page from rows and facts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute import facts as f
from facility.compute.instants import datetime_of, instant_of
from facility.compute.members import content_at
from facility.gathered import minute_down
from facility.models import CheckResult, ContactKind
from facility.readiness import page_rows as page
from facility.readiness import words
from facility.readiness.defects_now import out_of_service, tags
from facility.readiness.links import link
from facility.readiness.panels import CallFirst, Contact, Demand, GasRow, OnCall, OpenThing
from facility.readiness.times import local
from maintenance.models import DefectEffect
from treatments.calling.short_checks import owed_by

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from facility.compute.instants import Instant
    from facility.gathered import Rows
    from facility.models import Site
    from facility.readiness.gather_people import PersonRow
    from facility.readiness.services import Answer

DEFECT_MARKS = {DefectEffect.STOPS: "tag", DefectEffect.LIMITS: "limits", DefectEffect.WATCH: "due"}
CALL_ORDER = (ContactKind.EMERGENCY, ContactKind.PHYSICIAN, ContactKind.NEXT_CHAMBER, ContactKind.EVACUATION)


def open_things(site: Site, rows: Rows, answers: Iterable[Answer]) -> list[OpenThing]:
    """Return everything open: defects first, then failed checks, checks owed after a run, second looks."""
    return [
        *_defects(site, rows),
        *(thing for answer in answers for thing in _failed_checks(site, answer)),
        *_owed(site, rows),
        *_owed_in_full(site, rows),
        *_second_looks(site, rows),
    ]


def _defects(site: Site, rows: Rows) -> Iterator[OpenThing]:
    order = list(DEFECT_MARKS)
    for pk, number, what, effect, found_at, tag, bank in sorted(
        rows[page.DEFECT], key=lambda row: (order.index(row[3]), row[1])
    ):
        since = words.when(minute_down(found_at), site.zone)
        yield OpenThing(
            mark=DEFECT_MARKS[DefectEffect(effect)],
            number=f"{number:04d}",
            title=f"{tag or bank}: {what}",
            sub=_("%(effect)s since %(when)s") % {"effect": DefectEffect(effect).label, "when": since},
            url=link("maintenance:defect", site.key, pk),
        )


def _failed_checks(site: Site, answer: Answer) -> Iterator[OpenThing]:
    """Newest checks that did not pass."""
    for sheet in sorted(answer.names.sheets.values(), key=lambda row: row.key):
        signed = sheet.signed
        if signed is None or signed.result not in (CheckResult.FAILED, CheckResult.UNREAD):
            continue
        said = {"when": words.when(minute_down(signed.signed_at), site.zone), "who": signed.signed_by}
        yield OpenThing(
            mark="stop" if signed.result == CheckResult.FAILED else "unread",
            number=str(signed.number),
            title=_("%(sheet)s %(result)s") % {"sheet": sheet.title, "result": CheckResult(signed.result).label},
            sub=_("signed %(when)s by %(who)s") % said,
            url=link("walk:check", site.key, signed.pk),
        )


def _owed(site: Site, rows: Rows) -> Iterator[OpenThing]:
    for pk, number, ended_at in sorted(rows[page.OWED], key=lambda row: int(row[1])):
        yield OpenThing(
            mark="open",
            number=str(number),
            title=_("Check after run %(number)s is owed") % {"number": number},
            sub=_("the run ended %(when)s") % {"when": words.when(minute_down(ended_at), site.zone)},
            url=link("treatments:run", site.key, pk),
        )


def _owed_in_full(site: Site, rows: Rows) -> Iterator[OpenThing]:
    """Full checks before a run that a call-out owes; asked for only if a call may owe one."""
    for one in owed_by([pk for (pk,) in rows[page.CALL]]) if rows[page.CALL] else ():
        yield OpenThing(
            mark="open",
            number="",
            title=_("%(sheet)s, in full, is owed") % {"sheet": one.sheet.title},
            sub=_("call-out of %(when)s")
            % {"when": words.when(instant_of(one.call.began_at.replace(second=0, microsecond=0)), site.zone)},
            url=link("walk:start", site.key, one.sheet.pk),
        )


def _second_looks(site: Site, rows: Rows) -> Iterator[OpenThing]:
    for pk, person, kind, recorded_at in sorted(rows[page.SECOND_LOOK], key=lambda row: str(row[3])):
        yield OpenThing(
            mark="second",
            number="",
            title=f"{person}: {kind}",
            sub=_("waiting for a second look since %(when)s")
            % {"when": words.when(minute_down(recorded_at), site.zone)},
            url=link("records:detail", site.key, "qualification", pk),
        )


def unsigned_checks(site: Site, rows: Rows) -> list[OpenThing]:
    """Return checks that were begun and not signed, the oldest first."""
    found = []
    for pk, number, title, started_at, started_by, left_off_at in sorted(
        rows[page.UNFINISHED], key=lambda row: str(row[3])
    ):
        said = {"when": words.when(minute_down(started_at), site.zone), "who": started_by}
        sub = _("begun %(when)s by %(who)s, not signed") % said
        if left_off_at is not None:
            broken = words.when(minute_down(left_off_at), site.zone)
            sub = _("%(begun)s; broken off %(when)s") % {"begun": sub, "when": broken}
        found.append(OpenThing("open", str(number), title, sub, "", link("walk:check", site.key, pk)))
    return found


def on_call(answer: Answer) -> list[OnCall]:
    """Return who is on duty now by the roster, by name, until when each leaves."""
    found = []
    for person in sorted(answer.names.people.values(), key=lambda row: row.name):
        duty = answer.records.duty_of.get(person.pk, ())
        now = [span for span in duty if minute_down(span[2]) <= answer.at < minute_down(span[3])]
        if now:
            _person, away, _starts_at, ends_at = max(now, key=lambda span: str(span[3]))
            note = _("on call, not on site") if away else ""
            found.append(OnCall(person.name, _in_date(person, answer), datetime_of(minute_down(ends_at)), note))
    return found


def _in_date(person: PersonRow, answer: Answer) -> str:
    """Name what a person is qualified for now: dates read twice, and practised where it lapses otherwise."""
    held = answer.facts.people[person.key].qualifications
    good = {
        kind
        for kind, ones in held.items()
        for one in ones
        if one.from_ <= answer.at and (one.until is None or one.until > answer.at) and not one.second_look
    }
    names = {str(row[1]) for row in person.held if row[0] in good}
    return ", ".join(sorted(names)) or _("no qualification in date")


def gas_rows(answer: Answer) -> list[GasRow]:
    """Return each bank that a plan of the chamber may breathe from."""
    return [
        _gas_row(answer, name, bank) for name, bank in sorted(answer.facts.members.items()) if isinstance(bank, f.Bank)
    ]


def _gas_row(answer: Answer, name: str, bank: f.Bank) -> GasRow:
    content, unread = content_at(bank, answer.at, answer.facts.age_limit_min.bank or 0)
    read = [one.read_at for one in bank.cylinders if one.read_at is not None]
    known = not unread or content > 0
    return GasRow(
        bank=answer.names.member(name),
        gas=bank.gas,
        content=Decimal(int(content)) if known else None,
        unit="L",
        age=answer.at - max(read) if read else None,
        demands=tuple(_demands(answer, name, bank, unread=unread, content=int(content))),
        note=_gas_note(bank, unread=unread),
        tags=tuple(tags(answer, name)),
    )


def _gas_note(bank: f.Bank, *, unread: bool) -> str:
    refused = sum(1 for one in bank.cylinders if one.analysis == "failed")
    without = sum(1 for one in bank.cylinders if one.analysis is None)
    said = [
        _("not all read in time") if unread else "",
        _("%d not analysed, counted as nothing") % without if without else "",
        _("%d refused, counted as nothing") % refused if refused else "",
        _("no cylinder recorded") if not bank.cylinders else "",
    ]
    return ", ".join(one for one in said if one)


def _demands(answer: Answer, name: str, bank: f.Bank, *, unread: bool, content: int) -> Iterator[Demand]:
    for key, plan in answer.facts.plans.items():
        needs = [answer.facts.needs[need] for need in plan.needs]
        asked = plan.gas.get(bank.gas)
        if asked is None or not any(need.gas == bank.gas and name in need.members for need in needs):
            continue
        litres = Decimal(int(asked.demand)) + Decimal(int(asked.reserve))
        enough = True if content >= litres else None if unread else False
        yield Demand(answer.names.plans[key].name, litres, enough, bool(out_of_service(answer, name, key)))


def call_first(site: Site, rows: Rows, at: Instant, confirm_days: int) -> CallFirst:
    """Return whom to call when a run cannot start, and the evacuation plan."""
    order = list(CALL_ORDER)
    wanted = sorted(
        (row for row in rows[page.CONTACT] if row[0] in order), key=lambda row: (order.index(row[0]), row[1])
    )
    today = local(at, site.zone).date()
    contacts = tuple(
        Contact(name, str(ContactKind(kind).label), phone, _contact_note(other, confirmed_on, today, confirm_days))
        for kind, name, phone, other, confirmed_on in wanted
    )
    return CallFirst(contacts, site.evacuation_plan)


def _contact_note(other: str, confirmed_on: str | None, today: date, confirm_days: int) -> str:
    said = [other] if other else []
    if confirmed_on is None:
        said.append(_("number never confirmed"))
    elif (today - date.fromisoformat(confirmed_on)).days > confirm_days:
        said.append(_("number last confirmed %(day)s") % {"day": words.day_text(confirmed_on)})
    return ", ".join(said)
