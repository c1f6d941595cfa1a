"""Worksheet: renewal of a technologist's certificate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.renewal import RenewalLaw, shortfall
from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number
from facility.reference import FOLDER, load

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

VALUES = load(FOLDER / "renewals.toml")
HOURS = ("0", "20000")


def _compute(given: Given) -> dict[str, object]:
    law = RenewalLaw(
        int(VALUES["technologist.years"].number),
        VALUES["technologist.education"].number,
        VALUES["technologist.category_a"].number,
        VALUES["technologist.clinical"].number,
    )
    if given.number("category_a") > given.number("education"):
        raise InputError("category_a", given.number("category_a"), "at most the hours of education, a part of them")
    missing = shortfall(given.number("education"), given.number("category_a"), given.number("clinical"), law)
    return {
        "renewable": missing.renewable,
        "missing_education": missing.education,
        "missing_category_a": missing.category_a,
        "missing_clinical": missing.clinical,
        "term": law.years,
    }


CERTIFICATE_RENEWAL = Worksheet(
    name="certificate_renewal",
    title=_("Renewal of a technologist's certificate"),
    inputs=(
        number("education", "h", 24, HOURS, _("education within the term")),
        number("category_a", "h", 11, HOURS, _("of these, of category A")),
        number("clinical", "h", 120, HOURS, _("clinical hours within the term")),
    ),
    outputs=(
        Output("renewable", "", _("nothing missing")),
        Output("missing_education", "h", ""),
        Output("missing_category_a", "h", ""),
        Output("missing_clinical", "h", ""),
        Output("term", "years", _("over which the hours count")),
    ),
    source="Undersea and Hyperbaric Medical Society, renewal rule of the hyperbaric technologist",
    formula=_("each kind of hours at least what is asked for"),
    caution=_("Arithmetic only. The body that issued the certificate decides; ask it for the rule in force."),
    compute=_compute,
    rests_on=tuple(VALUES.values()),
)
