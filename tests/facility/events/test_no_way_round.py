"""No code of the project changes rows past the log: an update or a bulk write tells it nothing by itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]

#: file: why it may write without an event of its own
ALLOWED = {
    "facility/walk/answering.py": "where a walk stands, told by the event of the answer in the same transaction",
    "facility/accounts/services.py": "a person's own choice of light or dark pages; not a record",
    "facility/accounts/factors.py": "second proofs: each is told by an event without its secret, in the same transaction",
    "facility/accounts/passkeys.py": "when a passkey was last used; not a record",
    "facility/feeds/services.py": "when a calendar was last read; not a record",
    "facility/notices/acting.py": "who has seen a notice and acted on it; all but of a digest is told by an event",
    "facility/notices/drafts.py": "notices are no records; what they tell of readiness is told by an event beside them",
    "facility/notices/escalate.py": "until when a notice is waited for; raising one is told by an event",
    "facility/notices/watch.py": "what people were last told; each notice of it is told by an event",
    "facility/notices/deliver.py": "deliveries are no records; a way that is given is told by an event in the same transaction",
    "facility/notices/stale.py": "deliveries that are sent no more; no records, the log of what went out says why",
    "facility/notices/ending.py": "how often a message was tried; no record. One that is given up is told by an event",
    "facility/fleet/refreshing.py": "answers kept for a page over many sites, reckoned from the records; not records",
    "facility/jobs/progress.py": "how far a job is; not a record",
    "facility/jobs/runner.py": "leases and outcomes of jobs; not records",
    "facility/jobs/tasks.py": "clears finished jobs and expired sessions; not records",
    "facility/project/bench/scratch.py": "invented rows in a scratch database that is thrown away",
    "facility/project/bench/scratch_plant.py": "as above",
    "facility/project/bench/notices.py": "as above",
    "facility/project/bench/watching.py": "as above",
    "facility/demo/weeks.py": "jobs that the demo's nightly head answers; not records",
    "facility/project/celery.py": "settings of a library, not a row",
    "facility/sweep/raising.py": "that a flag is over, which the records themselves say; raising one is the event",
}


def past_the_log(tree: ast.Module) -> list[str]:
    """Return each call that changes or removes rows in a function that records no event, as ``line: name``."""
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    recorded = {
        id(node) for function in functions if any(map(records, ast.walk(function))) for node in ast.walk(function)
    }
    return [
        f"{node.lineno}: {node.func.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and writes(node, node.func.attr)
        if id(node) not in recorded
    ]


def records(node: ast.AST) -> bool:
    """Whether a call is that of events.record()."""
    return isinstance(node, ast.Call) and ast.unparse(node.func) in ("events.record", "record")


def writes(call: ast.Call, name: str) -> bool:
    """Whether a call changes or removes rows past save().

    An update of rows is told from that of a dictionary or a digest by its arguments: it has names only.
    """
    if name in ("update", "aupdate"):
        return bool(call.keywords) and not call.args
    return name.startswith(("bulk_", "abulk_")) or (name in ("delete", "adelete", "_raw_delete") and not call.args)


def sources() -> list[str]:
    """Return the project's own source files, tests and migrations left out."""
    files = [file for app in ("facility", "maintenance", "treatments") for file in (ROOT / app).rglob("*.py")]
    return sorted(str(file.relative_to(ROOT)) for file in files if "migrations" not in file.parts)


def test_the_source_was_found() -> None:
    assert {"facility/events.py", "maintenance/models/equipment.py", "treatments/models/plan.py"} <= set(sources())


@pytest.mark.parametrize("name", sources())
def test_no_write_goes_round_the_services(name: str) -> None:
    found = past_the_log(ast.parse((ROOT / name).read_text(encoding="utf-8")))
    assert not found or name in ALLOWED, (
        f"{name} {found}: use facility.services, or record the event in the same function"
    )


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
        ("def put():\n  Site.objects.update(name='x')\n  events.record(site, what, by=by)", 0),
        ("def put():\n  Site.objects.update(name='x')\ndef tell():\n  events.record(site, what, by=by)", 1),
        ("def put():\n  Site.objects.update(name='x')\n  logger.record(1)", 1),
    ],
)
def test_the_search_knows_rows_from_dictionaries(line: str, count: int) -> None:
    assert len(past_the_log(ast.parse(line))) == count
