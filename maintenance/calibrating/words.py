"""Words of verdicts, remarks and components, in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext, gettext_noop

from maintenance.compute.decisions import Verdict
from maintenance.worksheets.common import values

VERDICTS = {
    Verdict.PASSED: gettext_noop("Within limits"),
    Verdict.CONDITIONALLY_PASSED: gettext_noop("Within limits, but its uncertainty reaches beyond"),
    Verdict.CONDITIONALLY_FAILED: gettext_noop("Outside limits, but its uncertainty reaches back"),
    Verdict.FAILED: gettext_noop("Outside limits"),
    Verdict.TOO_UNCERTAIN: gettext_noop("Not judged: the uncertainty is too large"),
}
MARKS = {
    Verdict.PASSED: "ready", Verdict.CONDITIONALLY_PASSED: "limits", Verdict.CONDITIONALLY_FAILED: "stop",
    Verdict.FAILED: "stop", Verdict.TOO_UNCERTAIN: "unknown",
}  # fmt: skip
REMARKS = {
    "few points": gettext_noop(
        "Fewer points than the class asks for: %(fine)s for classes below %(coarse_from)s, %(coarse)s from there on."
    ),
    "no falling": gettext_noop("No readings coming down: hysteresis is not known."),
    "hysteresis over limit": gettext_noop("The hysteresis is larger than the tightest limit."),
    "grade from memory": gettext_noop(
        "Limits of this grade are from memory, unconfirmed: look them up in the standard."
    ),
    "outside scale": gettext_noop("A reference value lies outside the scale."),
}
COMPONENTS = {
    "reference": gettext_noop("reference, by its certificate"),
    "resolution": gettext_noop("resolution, half"),
    "hysteresis": gettext_noop("hysteresis, half"),
    "zero": gettext_noop("zero shift, half"),
    "repeatability": gettext_noop("repeatability, half"),
    "drift of the reference": gettext_noop("drift of the reference"),
}
SHAPES = {
    "normal": gettext_noop("normal, over k"),
    "rectangular": gettext_noop("rectangular, over the root of 3"),
    "standard": gettext_noop("standard uncertainty"),
}
LIMITS = {
    "EN 837-1 class": gettext_noop("EN 837-1, class"),
    "ASME B40.100 grade": gettext_noop("ASME B40.100, grade"),
    "own limit": gettext_noop("own limit"),
}
RULES = {
    "simple": gettext_noop("simple acceptance: the error alone stays inside the limit"),
    "guarded": gettext_noop("guarded acceptance: the error plus the guard band stays inside the limit"),
    "non-binary": gettext_noop("four words: a guard band on both sides of the limit"),
}
SOURCES = {
    "simple": "JCGM 106:2012, 8.2.3", "guarded": "JCGM 106:2012, 8.3.2", "non-binary": "ILAC-G8:09/2019",
}  # fmt: skip


def verdict_words(verdict: str | None) -> str:
    """Return the words of a verdict; of none: that a run as left is still needed."""
    if not verdict:
        return gettext("Not known: adjusted, and not compared again as left")
    return gettext(VERDICTS[Verdict(verdict)])


def verdict_mark(verdict: str | None) -> str:
    """Return the mark of a verdict."""
    return MARKS[Verdict(verdict)] if verdict else "unknown"


def fewest_points() -> dict[str, str]:
    """Return how many points the classes ask for. Source: maintenance/reference/gauges.toml [points]."""
    table = values("gauges.toml")
    names = {"fine": "points.fine", "coarse": "points.coarse", "coarse_from": "points.finest_coarse_class"}
    return {name: str(table[key].number) for name, key in names.items()}


def remark_words(key: str) -> str:
    """Return the words of a remark."""
    words = said(REMARKS, key)
    return words % fewest_points() if "%(" in words else words


def said(words: dict[str, str], key: str) -> str:
    """Return the words of a key, or the key itself where it has none, such as a component named by its user."""
    return gettext(words[key]) if key in words else key
