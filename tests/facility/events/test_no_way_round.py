"""No code of the project writes past the services: bulk writes tell the log nothing."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]

#: file: why it may write without a service
ALLOWED = {
    "facility/services.py": "the services themselves; each writes its event",
    "facility/walk/answering.py": "where a walk stands, told by the event of the answer in the same transaction",
    "facility/accounts/services.py": "a person's own choice of light or dark pages; not a record",
    "facility/jobs/runner.py": "leases and outcomes of jobs; not records",
    "facility/jobs/tasks.py": "clears finished jobs and expired sessions; not records",
    "facility/project/celery.py": "settings of a library, not a row",
}


def past_the_services(tree: ast.AST) -> list[str]:
    """Return each call that changes or removes rows without a service, as ``line: name``.

    An update of rows is told from that of a dictionary or a digest by its arguments: it has names only.
    """
    found = []
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        name = node.func.attr.removeprefix("a")
        rows_updated = name in ("update", "pdate") and node.keywords and not node.args
        rows_removed = name in ("delete", "_raw_delete") and not node.args
        if rows_updated or rows_removed or name.startswith("bulk_"):
            found.append(f"{node.lineno}: {node.func.attr}")
    return found


def sources() -> list[str]:
    """Return the project's own source files, tests and migrations left out."""
    files = [file for app in ("facility", "maintenance", "treatments") for file in (ROOT / app).rglob("*.py")]
    return sorted(str(file.relative_to(ROOT)) for file in files if "migrations" not in file.parts)


def test_the_source_was_found() -> None:
    assert {"facility/events.py", "maintenance/models/equipment.py", "treatments/models/plan.py"} <= set(sources())


@pytest.mark.parametrize("name", sources())
def test_no_write_goes_round_the_services(name: str) -> None:
    found = past_the_services(ast.parse((ROOT / name).read_text(encoding="utf-8")))
    assert not found or name in ALLOWED, f"{name} {found}: use facility.services, which writes the event"


@pytest.mark.parametrize(
    ("line", "count"),
    [
        ("Site.objects.filter(pk=1).update(name='x')", 1),
        ("Site.objects.update(**values)", 1),
        ("await Site.objects.aupdate(name='x')", 1),
        ("row.delete()", 1),
        ("Site.objects.all().delete()", 1),
        ("Site.objects.bulk_create(rows)", 1),
        ("Site.objects.bulk_update(rows, ['name'])", 1),
        ("await Site.objects.abulk_create(rows)", 1),
        ("digest.update(data)", 0),
        ("known.update({'a': 1})", 0),
        ("cache.delete('key')", 0),
        ("walk.update(check, 'begun', by=by)", 0),
    ],
)
def test_the_search_knows_rows_from_dictionaries(line: str, count: int) -> None:
    assert len(past_the_services(ast.parse(line))) == count
