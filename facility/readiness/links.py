"""Addresses of the records and acts that an answer points to."""

from __future__ import annotations

from typing import Any

from django.urls import NoReverseMatch, reverse

from facility.readiness.shut_downs.rows import SHUT_DOWN

Plain = dict[str, Any]
KEPT = frozenset({"equipment", "bank", "sheet", "person"})
"""Kinds of record whose page is the general one."""


def link(name: str, *arguments: str | int) -> str:
    """Return an address, or nothing where this box has no such page."""
    try:
        return reverse(name, args=arguments)
    except NoReverseMatch:
        return ""


def record_link(site_key: str, record: Plain | None) -> str:
    """Return the page of a member's record."""
    if record is None:
        return ""
    if record["kind"] in KEPT:
        return link("records:detail", site_key, record["kind"], record["pk"])
    if record["kind"] == SHUT_DOWN:
        return link("readiness:shut_downs", site_key)
    names = {"check": "walk:check", "run": "treatments:run", "defect": "maintenance:defect"}
    return link(names[record["kind"]], site_key, record["pk"])


def with_links(site_key: str, evaluation: Plain) -> Plain:
    """Add to each member of an explained evaluation the address of its record."""
    for finding in evaluation["findings"].values():
        for member in finding.get("members", ()):
            member["url"] = record_link(site_key, member["record"])
    return evaluation
