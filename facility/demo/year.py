"""The part of the demo that no file of the importer carries: comparisons, a waiver, drills, procedures, a visit, through the services."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from facility import events, services
from facility.events import Actor
from facility.models import Drill, DrillKind, FindingAnswer, Inspection, Person, Procedure, VisitFinding
from facility.practice import services as practice
from facility.visits import services as visits
from maintenance.calibrating import services as comparing
from maintenance.models import Calibration, Equipment, IntervalRule, Reference, ReferenceCertificate
from treatments.models import Need, Waiver

if TYPE_CHECKING:
    from facility.demo.told import Told

COMPARES, DIRECTS = "Per Nygard", "Astrid Solheim"
ACT = "calibration"


def play(told: Told) -> None:
    """Store what year.toml tells.

    Errors: ValidationError if it does not fit what was imported.
    """
    _compare(told, _certificates(told))
    for one in told.content["waiver"]:
        _waive(told, one)
    for one in told.content["drill"]:
        _drill(told, one)
    for one in told.content["procedure"]:
        _procedure(told, one)
    for one in told.content["visit"]:
        _visit(told, one)


def _certificates(told: Told) -> dict[str, ReferenceCertificate]:
    """Store references with their certificates; return these by number."""
    by = Actor(COMPARES)
    references, back = {}, {}
    for one in told.content["reference"]:
        fields = {
            name: one.get(name, "") for name in ("key", "name", "maker", "serial", "owner", "unit", "accuracy_class")
        }
        item = Equipment.objects.get(site=told.site, tag=one["item"]) if "item" in one else None
        row = Reference(
            site=told.site, return_by=told.day(one["return_by"]) if "return_by" in one else None, scale_high=Decimal(one["scale_high"]),
            equipment=item, **fields,
        )  # fmt: skip
        references[one["key"]] = comparing.add_reference(row, by=by)
        back[one["key"]] = one.get("given_back", "")
    found = {}
    for one in told.content["certificate"]:
        paper = ReferenceCertificate(
            reference=references[one["reference"]], number=one["number"], issuer=one["issuer"],
            calibrated_on=told.day(one["calibrated_on"]), due_on=told.day(one["due_on"]),
            expanded_uncertainty=Decimal(one["expanded_uncertainty"]), unit=one["unit"],
        )  # fmt: skip
        found[paper.number] = comparing.add_certificate(paper, by=by)
    for key, reason in back.items():
        if reason:
            services.retire(references[key], by=by, reason=reason, action="reference given back")
    return found


def _compare(told: Told, certificates: dict[str, ReferenceCertificate]) -> None:
    by = Actor(COMPARES)
    rules = IntervalRule.objects.filter(equipment__site=told.site, name=ACT, retired_at=None)
    acts = {rule.equipment.tag: rule for rule in rules.select_related("equipment__site")}
    for one in told.content["compared"]:
        rule = acts[one["tag"]]
        certificate = certificates[one["certificate"]]
        row = comparing.record(_comparison(told, one, rule, certificate), rule, by=by, late=one.get("late", False))
        if "corrected" in one:
            right = one["corrected"]
            new = _comparison(told, one | {"down": right["down"]}, rule, certificate)
            comparing.correct(row, new, rule, by=by, reason=right["reason"])


def _comparison(told: Told, one: dict[str, Any], rule: IntervalRule, certificate: ReferenceCertificate) -> Calibration:
    way = told.content["way"][one["way"]]
    choices = {"limit_by": "own limit", "class_or_grade": "", "own_limit": way["own_limit"], "decision_rule": "guarded",
               "guard_factor": "1", "largest_uncertainty": "", "changed_because": ""}  # fmt: skip
    means = {"reference_expanded": way["reference_expanded"], "reference_k": "2", "resolution": way["resolution"],
             "zero_shift": "", "reference_drift": "", "others": []}  # fmt: skip
    points = [
        {"reference": at, "up": up, "down": down}
        for at, up, down in zip(way["points"], one["up"], one["down"], strict=True)
    ]
    return Calibration(
        equipment=rule.equipment, certificate=certificate, done_on=told.day(one["on"]), done_by=COMPARES,
        unit=way["unit"], scale_low=Decimal(0), scale_high=Decimal(way["scale_high"]), as_found=points,
        choices=choices, means=means, note=one.get("note", ""),
    )  # fmt: skip


def _waive(told: Told, one: dict[str, Any]) -> None:
    """Store a waiver that is over; granting one anew would be refused, as its time lies behind."""
    need = Need.objects.select_related("chamber__site").get(chamber__site=told.site, key=one["need"], retired_at=None)
    row = Waiver(
        chamber=need.chamber, need=need, starts_at=told.at(one["starts_at"]), ends_at=told.at(one["ends_at"]),
        accepts=one["accepts"], why=one["why"], counter_measure=one["counter_measure"], granted_by=one["granted_by"],
        occurred_at=told.at(one["starts_at"]),
    )  # fmt: skip
    services.add(row, by=Actor(one["granted_by"]), action="waiver granted", reason=row.why, late=True)


def _drill(told: Told, one: dict[str, Any]) -> None:
    by = Actor(DIRECTS)
    kind = DrillKind(
        site=told.site, key=one["key"], name=one["name"], every_days=one["every_days"], goal=one["goal"],
        goal_min=Decimal(one["goal_min"]), source=one["source"],
    )  # fmt: skip
    services.add(kind, by=by)
    people = {row.key: row for row in Person.objects.filter(site=told.site).select_related("site")}
    for held in one["held"]:
        row = Drill(
            kind=kind, held_at=told.at(held["at"]), minutes=Decimal(held["minutes"]), reached=held["reached"],
            went_wrong=held.get("went_wrong", ""), actions=held.get("actions", ""), led_by=held["led_by"],
        )  # fmt: skip
        practice.hold(row, [people[key] for key in held["people"]], by=Actor(held["led_by"]), late=True)


def _procedure(told: Told, one: dict[str, Any]) -> None:
    row = Procedure(
        site=told.site, key=one["key"], title=one["title"], text=one["text"].strip(), why=one["why"],
        in_force_from=told.at(one["in_force_from"]),
    )  # fmt: skip
    practice.put_in_force(row, by=Actor(DIRECTS), reason=one["why"])
    for person in Person.objects.filter(site=told.site, key__in=one["read_by"]).select_related("site"):
        practice.mark_read(row, person, by=Actor(person.name))


def _visit(told: Told, one: dict[str, Any]) -> None:
    by = Actor(DIRECTS)
    fields = {name: one[name] for name in ("inspector", "organisation", "code", "note")}
    visit = Inspection(site=told.site, visited_on=told.day(one["on"]), **fields)
    visits.record_visit(visit, events.now().astimezone(told.days.zone).date(), by=by)
    for part in one["finding"]:
        row = VisitFinding(
            inspection=visit, text=part["text"], clause=part.get("clause", ""), due_on=told.day(part["due_on"])
        )
        visits.add_finding(row, by=by)
        if "answer" in part:
            visits.answer(FindingAnswer(finding=row, text=part["answer"]), by=by)
        if "closed_on" in part:
            row.closed_on, row.closed_by, row.closed_note = (
                told.day(part["closed_on"]),
                one["inspector"],
                part["closed_note"],
            )
            services.change(row, by=by, reason=row.closed_note, shown_version=row.row_version, action="finding closed")
