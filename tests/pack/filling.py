"""A facility in which every field of every record that can hold a text holds a word of its own, to be looked for."""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.db import models, transaction

from facility import events, services
from facility.backup.tables import ordered
from facility.events import What
from facility.models import Event, Site
from facility.pack import fields as classified
from tests import make

#: what must make sense for the app to read it back
SENSIBLE: dict[str, Any] = {
    "facility.Site.zone": "Europe/Oslo", "facility.HouseRule.key": "check_age_min", "facility.Pack.scope": "whole",
    "facility.Evidence.media_type": "application/pdf", "facility.Pack.state": "built", "facility.Pack.number": 1,
    "facility.Pack.paper": "A4", "facility.Answer.step": "door", "facility.Job.kind": "tidy",
    "maintenance.Defect.returned_at": None, "maintenance.Calibration.scale_high": Decimal(10),
    "maintenance.Recall.equipment": None, "treatments.NeedMember.bank": None, "treatments.NeedMember.sheet": None,
    "treatments.Run.ended_at": None,
}  # fmt: skip
SKIPPED = {
    "facility.Event",
    "facility.Checkpoint",
    "facility.SigningKey",
    "facility.User_groups",
    "facility.User_user_permissions",
}
SHORTEST = 9
LATER = {"ends_at", "until"}


@dataclass(slots=True)
class Filled:
    """The site, a row of every model by its label, and each word by the field that holds it."""

    site: Site
    rows: dict[str, Any] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)

    def word(self, place: str) -> str:
        """Return the word of a field, a new one for a new field."""
        return self.words.setdefault(place, f"Qm{len(self.words):05d}zX")


def fill(prefix: str = "") -> Filled:
    """Store one row of every model of the three apps, each with an event as its service would write it."""
    from django.apps import apps

    site = make.site()
    done = Filled(site)
    for model in ordered(apps):
        label = model._meta.label
        if model._meta.app_label not in classified.APPS or label in SKIPPED:
            continue
        if label == "facility.Site":
            site.evacuation_plan = done.word(f"{label}.evacuation_plan")
            site.save()
            row: Any = site
        else:
            row = model._base_manager.create(**_values(model, done, prefix))
        done.rows[label] = row
        _tell(row, done)
    return done


def _tell(row: Any, done: Filled) -> None:
    """Write the event that a service would write of a whole row, and one with a reason; patients tell nothing."""
    label = row._meta.label
    if label in {"treatments.Patient", "treatments.ClinicalText", "facility.SecondFactor", "facility.User"}:
        return
    reason = done.reasons.setdefault(label, done.word(f"{label} reason"))
    with transaction.atomic():
        for why in ("", reason):
            what = What("added", after=services.plain(row), reason=why, site_key=done.site.key)
            events.record(row, what, by=make.BY)


def _values(model: type[models.Model], done: Filled, prefix: str) -> dict[str, Any]:
    label = model._meta.label
    values: dict[str, Any] = {}
    for one in model._meta.concrete_fields:
        place = f"{label}.{one.name}"
        if one.primary_key or one.name in {"retired_at", "supersedes"}:
            continue
        value = SENSIBLE.get(place, ...)
        values[one.name] = _value(one, place, done, prefix) if value is ... else value
    return values


def _value(one: Any, place: str, done: Filled, prefix: str) -> Any:
    if one.is_relation:
        return done.rows.get(one.related_model._meta.label)
    if one.choices:
        return one.choices[0][0]
    if isinstance(one, models.JSONField):
        return _json(one, place, done)
    if isinstance(one, models.SlugField):
        return f"k{len(done.words)}"
    if isinstance(one, models.CharField | models.TextField):
        return _text(one, place, done, prefix)
    return _plain(one)


def _text(one: Any, place: str, done: Filled, prefix: str) -> str:
    if "sha256" in one.name or "fingerprint" in one.name:
        return hashlib.sha256(place.encode()).hexdigest()
    longest = one.max_length or 1000
    return "" if longest < SHORTEST else (prefix + done.word(place))[:longest]


def _json(one: Any, place: str, done: Filled) -> Any:
    label, _dot, name = place.rpartition(".")
    if name in classified.classified(label) and name not in _exported(label):
        return {"note": done.word(place)}
    empty = one.get_default()
    return [] if empty is None else empty


def _exported(label: str) -> tuple[str, ...]:
    table = classified.by_label().get(label.lower())
    return table.exported if table else ()


def _plain(one: Any) -> Any:
    kinds: tuple[tuple[type[Any], Any], ...] = (
        (models.UUIDField, uuid.UUID(int=7)), (models.DateTimeField, make.NOON), (models.DateField, make.DAY),
        (models.BooleanField, False), (models.DecimalField, Decimal(1)), (models.FloatField, 1.0),
        (models.BinaryField, bytes(16)), (models.IntegerField, 1),
    )  # fmt: skip
    if one.name in LATER:
        return make.NOON + timedelta(hours=1)
    return next(value for kind, value in kinds if isinstance(one, kind))


def payloads() -> str:
    """Return the text of the whole log."""
    return "\n".join(Event.objects.order_by("seq").values_list("payload", flat=True))
