"""The lists of packages install on a machine that has none, also after a package has a newer version."""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
PINNED = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)(\[(?P<extras>[^\]]+)\])?==(?P<version>[^ ;\\]+)", re.MULTILINE)


@pytest.mark.parametrize("listed", ["requirements.txt", "tests/requirements.txt"])
def test_a_package_wanted_with_extras_is_pinned_with_them(listed: str) -> None:
    """Pip takes ``name[extra]`` for a thing of its own: unpinned, it finds the newest, which has no digest in the list."""
    found = list(PINNED.finditer((ROOT / listed).read_text("utf-8")))
    extras = {canonicalize_name(one["name"]): set((one["extras"] or "").split(",")) - {""} for one in found}
    assert len(extras) > 40
    missing = []
    for name, own in extras.items():
        for wanted in map(Requirement, _requires(name)):
            asked_for = wanted.marker is None or any(wanted.marker.evaluate({"extra": one}) for one in own | {""})
            if asked_for and not wanted.extras <= extras.get(canonicalize_name(wanted.name), set()):
                missing.append(f"{name} wants {wanted}")
    assert missing == []


def _requires(name: str) -> list[str]:
    try:
        return requires(name) or []
    except PackageNotFoundError:  # one for another system only
        return []
