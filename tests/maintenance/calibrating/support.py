"""Builders of references, certificates and comparisons; each goes through its service."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.test import Client

from facility.models import Site, SiteRole
from maintenance.calibrating import services
from maintenance.models import Calibration, Equipment, IntervalRule, Reference, ReferenceCertificate
from tests import make

#: a worked example of this project's notes: class 1.6, 0 to 10 bar, six points up and down
REFERENCES = ("0", "2", "4", "6", "8", "10")
UP = ("0.00", "2.02", "4.05", "6.06", "8.05", "10.04")
DOWN = ("0.02", "2.08", "4.11", "6.10", "8.07", "10.04")
CHOICES = {"limit_by": "EN 837-1 class", "class_or_grade": "1.6", "own_limit": "", "decision_rule": "guarded",
           "guard_factor": "1", "largest_uncertainty": "", "changed_because": ""}  # fmt: skip
MEANS = {"reference_expanded": "0.010", "reference_k": "2", "resolution": "0.02", "zero_before": "0.00",
         "zero_after": "0.02", "zero_shift": "0.02", "reference_drift": "", "others": []}  # fmt: skip
DAY = date(2026, 3, 1)


def points(up: tuple[str, ...] = UP, down: tuple[str, ...] = DOWN) -> list[dict[str, str]]:
    """Return the points of one run."""
    return [
        {"reference": one, "up": rising, "down": falling}
        for one, rising, falling in zip(REFERENCES, up, down, strict=True)
    ]


def reference(site: Site, **fields: Any) -> Reference:
    """Return a stored reference of the site's own, 0 to 25 bar."""
    number = Reference.objects.count() + 1
    defaults = {"site": site, "key": f"ref-{number}", "name": f"Test gauge {number}", "unit": "bar",
                "scale_low": 0, "scale_high": 25}  # fmt: skip
    return services.add_reference(Reference(**defaults | fields), by=make.BY)


def certificate(of: Reference, **fields: Any) -> ReferenceCertificate:
    """Return a stored certificate of 3 Feb 2026, good for a year, U 0.010 bar."""
    defaults = {
        "reference": of, "number": f"N-{ReferenceCertificate.objects.count() + 1}", "issuer": "Metrology House",
        "calibrated_on": date(2026, 2, 3), "due_on": date(2027, 2, 3), "expanded_uncertainty": Decimal("0.010"),
        "coverage_factor": Decimal(2), "unit": "bar",
    }  # fmt: skip
    return services.add_certificate(ReferenceCertificate(**defaults | fields), by=make.BY)


def comparison(
    of: Equipment, by: ReferenceCertificate | None, rule: IntervalRule | None = None, **fields: Any
) -> Calibration:
    """Return a stored comparison of the worked example."""
    defaults: dict[str, Any] = {
        "equipment": of, "certificate": by, "done_on": DAY, "done_by": "Ina Test", "unit": "bar", "scale_low": Decimal(0),
        "scale_high": Decimal(10), "as_found": points(), "choices": dict(CHOICES), "means": dict(MEANS),
    }  # fmt: skip
    return services.record(Calibration(**defaults | fields), rule, by=make.BY)


def drifted(of: Equipment, by: ReferenceCertificate | None, on: date, error: str, **fields: Any) -> Calibration:
    """Return a stored comparison at one point, 4 bar, with this error."""
    found = [{"reference": "4", "up": str(Decimal(4) + Decimal(error))}]
    return comparison(of, by, done_on=on, as_found=found, **fields)


def client(site: Site, *roles: str) -> Client:
    """Return a client in which somebody of these roles is signed in; a maintainer where none is named."""
    signed = Client()
    signed.force_login(
        make.user(site, *(roles or (SiteRole.MAINTAINER,))), backend="django.contrib.auth.backends.ModelBackend"
    )
    return signed
