"""Whatever stands in a cell or a file: a report, never a fault, and nothing half stored."""

from __future__ import annotations

import csv
import io

import pytest
from django.db import IntegrityError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from facility.imports.kinds_people import PersonFile
from facility.imports.take import Options
from facility.models import Event
from tests.imports.support import facility, only_problem, run

pytestmark = pytest.mark.django_db
FILES = facility()
NASTY = st.sampled_from(
    [
        "", " ", "0", "-1", "1e9", "nan", "inf", "²", "99999999999999999999", "1,5", "2026-02-30", "00/00/0000",
        "13/32/2026", "02/30/2026 25:61", "9999-12-31 23:59", "12/31/2199 23:59", "equipment:", "bank:air|sheet:x",
        "2x0", "0x25", "=1+1", "a" * 5000, "01/01/1900 00:00", "01/01/1900", "G1 G2", "yes", "psi", "٣",
        "\N{RIGHT-TO-LEFT OVERRIDE}x", "'; DROP TABLE x", "None",
    ]
)  # fmt: skip


def with_cell(file: str, line: int, column: int, text: str) -> dict[str, bytes]:
    """Return the files with one cell exchanged."""
    rows = list(csv.reader(io.StringIO(FILES[file].decode())))
    rows[line % len(rows)][column % len(rows[line % len(rows)])] = text
    buffer = io.StringIO()
    csv.writer(buffer).writerows(rows)
    return FILES | {file: buffer.getvalue().encode()}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None)
@given(st.sampled_from(sorted(FILES)), st.integers(0, 9), st.integers(0, 13), NASTY | st.text(max_size=12))
def test_any_text_in_any_cell_gives_a_report(file: str, line: int, column: int, text: str) -> None:
    before = Event.objects.count()
    report = run(with_cell(file, line, column, text), Options(dry_run=True))
    assert report.as_text()
    assert report.as_json()["exit_code"] == report.exit_code
    assert Event.objects.count() == before


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.sampled_from(sorted(FILES)), st.binary(max_size=60))
def test_any_bytes_in_a_file_give_a_report(file: str, content: bytes) -> None:
    few = {name: FILES[name] for name in ("files.csv", "site.csv", "chambers.csv")}
    report = run(few | {file: content}, Options(dry_run=True))
    assert report.exit_code in {0, 1, 2}
    assert not Event.objects.exists()


def test_a_row_that_somebody_else_stores_meanwhile_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def stored_already(*_arguments: object) -> None:
        raise IntegrityError

    monkeypatch.setattr(PersonFile, "add", stored_already)
    files = {name: FILES[name] for name in ("site.csv", "chambers.csv")} | {"people.csv": b"key,name\na-b,A B\n"}
    problem = only_problem(run(files))
    assert "somebody stored another row" in problem.what
    assert not Event.objects.exists()
