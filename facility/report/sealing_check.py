"""The last look at a PDF before it is sealed: one that is not what it says it is, is not published."""

from __future__ import annotations

from typing import Final


class NotPublishedError(ValueError):
    """A PDF that would not keep what its metadata promise."""


PROFILES: Final = ("PDF_A_3A", "PDF_UA_1")
MOST_NAMED: Final = 3


def faults_of(pdf: bytes) -> list[str]:
    """Return what a PDF lacks of PDF/A-3a and PDF/UA-1, in the validator's words; nothing if it has all."""
    import page  # noqa: PLC0415  # megabytes, needed only by the job

    found = []
    for name in PROFILES:
        try:
            limits = page.SafetyLimits.unlimited()
            report = page.validate_pdf_bytes(pdf, profile=getattr(page.ValidationProfile, name), limits=limits)
        except page.PageError as error:
            found.append(f"{name}: {error}")
            continue
        found += [f"{name} {one.rule_id}: {one.message}" for one in report.failures]
        if not report.is_compliant and not report.failures:
            found.append(f"{name}: refused without a reason")
    return found


def refuse_faulty(pdf: bytes, name: str) -> None:
    """Let a PDF pass, or not.

    Errors: NotPublishedError naming the paper, the profile and the first rules that it breaks.
    """
    found = faults_of(pdf)
    if found:
        raise NotPublishedError(
            f"{name} was not published: it breaks {len(found)} rules, {'; '.join(found[:MOST_NAMED])}. "
            "The records are untouched. Tell who keeps the box."
        )
