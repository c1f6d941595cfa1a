"""Each mess of a hand-kept table: the row, the column, the value, what is allowed, what to do. Nothing is stored.

The refusals are the project's own words; limits that come from outside name their source.
"""

from __future__ import annotations

import pytest

from facility.imports.take import Options
from facility.models import Event, Organisation, Person, Site
from maintenance.models import Equipment
from tests.imports.support import changed, facility, only_problem, run

pytestmark = pytest.mark.django_db

#: file, text there, text instead, line, column, words of the refusal
MESSES = [
    ("equipment.csv", "serial,in", "serien,in", 1, "serien", "no column of this name is known here"),
    ("equipment.csv", "tag,name,kind", "etikett,name,kind", 1, "etikett", "no column of this name"),
    ("work.csv", "K1,,02", "K9,,02", 5, "tag", "is not known at this site"),
    ("work.csv", "G1,calibration,07", "G1,calibraton,07", 2, "act", "is not known at this site"),
    ("equipment.csv", "Wend,1002", "Wend,1001", 3, "serial", "is the serial number of G1 too"),
    ("equipment.csv", "G2,Inner", "G1,Inner", 3, "tag", "repeats line 2"),
    ("equipment.csv", "viewport,main", "porthole,main", 4, "kind", "is not one of the allowed words"),
    ("equipment.csv", "main,inner,Klee", "main,attic,Klee", 4, "lock", "is not known at this site"),
    ("equipment.csv", "05/13/2019", "02/30/2019", 4, "in_service_on", "the month 2 of 2019 has days 1 to 28"),
    ("medicals.csv", "01/20/2026", "20/01/2026", 2, "examined_on", "the month read is 20"),
    ("medicals.csv", "01/19/2027", "01/19/2025", 2, "good_until", "comes before the examination"),
    ("medicals.csv", "01/20/2026", "2026-01-20", 2, "examined_on", "is not written as files.csv states"),
    ("qualifications.csv", "03/04/2027", "03/03/2025", 2, "expires_on", "comes before the day of issue 2025-03-04"),
    ("qualifications.csv", "d-pell,inside-tender", "d-pell,tender", 3, "qualification", "is not known at this site"),
    ("qualifications.csv", "d-pell,inside", "z-pell,inside", 3, "person", "is not known at this site"),
    ("duty.csv", "d-pell,03/09/2026 08:00", "d-pell,03/23/2026 08:00", 3, "ends_at", "does not come after the start"),
    ("duty.csv", "d-pell,03/09/2026 08:00", "d-pell,03/08/2026 02:30", 3, "starts_at", "is skipped by the clock change"),
    ("duty.csv", "d-pell,03/09/2026 08:00", "d-pell,11/01/2025 25:00", 3, "starts_at", "is no time of day"),
    ("duty.csv", "d-pell,03/09/2026 08:00", "d-pell,11/02/2025 01:30", 3, "starts_at", "comes twice on that day"),
    ("locks.csv", "inner,300,4", 'inner,"300,5",4', 2, "volume", "the decimal mark of this file is “.”"),
    ("locks.csv", "inner,300,4", 'inner,"1,300",4', 2, "volume", "the decimal mark of this file is “.”"),
    ("locks.csv", "inner,300,4", "inner,300 ft3,4", 2, "volume", "is not a number"),
    ("bank_readings.csv", "2100.5", "21000", 2, "pressure", "is more than can be reckoned with, in psi"),
    ("bank_readings.csv", ",12,Rosa", ",75,Rosa", 2, "temperature_c", "cannot be reckoned with"),
    ("cylinders.csv", "OX-2,49.9", "OX-2,0", 3, "water_litres", "lies outside what can be"),
    ("cylinders.csv", "OX-2,49.9", "OX-2,1.000", 3, "water_litres", "has more decimals than are kept"),
    ("house_rules.csv", "due_soon_days", "due_sometime", 2, "key", "is not a house rule"),
    ("house_rules.csv", "due_soon_days", "public_status", 2, "value", "does not fit the rule public_status"),
    ("sheets.csv", "daily,daily,Nell", "daily,yearly,Nell", 2, "start_from", "is not a sheet that the app ships"),
    ("sheet_limits.csv", "daily,oxygen-1", "daily,oxygen-9", 2, "step", "is not a step of this sheet"),
    ("sheet_limits.csv", "main,daily,oxygen-1", "main,weekly,oxygen-1", 2, "sheet", "has no line in sheets.csv"),
    ("checks.csv", "03/11/2026 19:25", "03/11/2026 18:25", 2, "signed_at", "comes before the check was begun"),
    ("needs.csv", "bank:oxygen,O2", "bank:oxygen equipment:G1,O2", 3, "members", "mixes gas banks with other members"),
    ("needs.csv", "bank:oxygen,O2", "bank:oxygen,", 3, "gas", "names its gas"),
    ("needs.csv", "sheet:daily", "sheet daily", 4, "members", "which is not a member"),
    ("needs.csv", "G1 equipment:G2", "G1 equipment:G1", 2, "members", "names equipment:G1 twice"),
    ("plans.csv", "2x25", "2*25", 2, "extensions", "which is not an extension"),
    ("plans.csv", "depth oxygen check", "depth oxigen check", 2, "needs", "is not known at this site"),
    ("plan_roles.csv", ",panel-operator,no", ",panel,no", 2, "qualifications", "is not known at this site"),
    ("plan_gas.csv", "O2,3600", "O3,3600", 2, "gas", "is not one of the allowed words"),
    ("runs.csv", "02/27/2026 12:20", "02/27/2026 09:20", 2, "ended_at", "does not come after the start of the run"),
    ("defects.csv", "05/12/2025 16:00", "05/11/2025 16:00", 2, "returned_at", "comes before it was found"),
    ("defects.csv", "Dov Pell,calibrated", ",calibrated", 2, "returned_by", "nobody is named"),
    ("intervals.csv", "G2,calibration,6", "G2,calibration,six", 3, "months", "is not such a whole number"),
    ("intervals.csv", "inventory,4,", "inventory,0,0", 4, "", "an interval of nothing never falls due"),
    ("intervals.csv", "02/20/2026,passed,Dov Pell", "02/20/2026,passed,", 4, "done_by", "nobody is named"),
    ("site.csv", "America/Toronto", "America/Minnewater", 2, "zone", "is not a time zone"),
    ("files.csv", "MM/DD/YYYY,point,,,yes", "DD/MM/YY,point,,,yes", 3, "date_format", "cannot be used here"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "line", "column", "words"), MESSES)
def test_a_mess_is_refused_by_row_and_column(file: str, old: str, new: str, line: int, column: str, words: str) -> None:
    report = run(changed(file, old, new))
    found = [
        problem for problem in report.problems if (problem.file, problem.line, problem.column) == (file, line, column)
    ]
    assert found, report.as_text()
    assert words in found[0].what, found[0].what
    assert report.exit_code == 1
    assert not report.taken


@pytest.mark.parametrize(("file", "old", "new"), [(mess[0], mess[1], mess[2]) for mess in MESSES[::9]])
def test_nothing_is_half_imported(file: str, old: str, new: str) -> None:
    run(changed(file, old, new))
    assert not Site.objects.exists()
    assert not Organisation.objects.exists()
    assert not Event.objects.exists()


def test_day_and_month_in_figures_are_never_guessed() -> None:
    files = facility()
    del files["files.csv"]
    report = run(files)
    found = next(problem for problem in report.problems if problem.file == "qualifications.csv")
    assert "more than one order" in found.what
    assert "YYYY-MM-DD" in found.allowed
    assert "files.csv" in found.advice
    assert "date_format" in found.advice


def test_a_missing_unit_is_asked_for() -> None:
    problem = only_problem(run({**_without_later_files(), "files.csv": b"file,date_format\n*,MM/DD/YYYY\n"}))
    assert (problem.file, problem.column) == ("locks.csv", "volume_unit")
    assert "no unit is given" in problem.what


def _without_later_files() -> dict[str, bytes]:
    files = facility()
    one_lock = b"\n".join(files["locks.csv"].splitlines()[:2])
    return {name: files[name] for name in ("site.csv", "chambers.csv")} | {"locks.csv": one_lock}


def test_3000_bar_is_refused_and_the_highest_value_named() -> None:
    """311 bar absolute is where the gas law of maintenance/reference/real_gas.toml ends."""
    files = changed("banks.csv", "main,psi,100", "main,bar,7")
    files["bank_readings.csv"] = b"bank,read_at,pressure,unit,read_by\noxygen,03/11/2026 19:00,3000,bar,Rosa Achter\n"
    problem = only_problem(run(files))
    assert (problem.column, problem.value) == ("pressure", "3000")
    assert problem.allowed == "at most 309 bar"


def test_a_unit_that_is_not_the_gauges_is_refused() -> None:
    files = facility()
    files["bank_readings.csv"] = b"bank,read_at,pressure,unit,read_by\noxygen,03/11/2026 19:00,140,bar,Rosa Achter\n"
    problem = only_problem(run(files))
    assert (problem.column, problem.allowed) == ("unit", "psi")


def test_near_names_are_offered() -> None:
    report = run(changed("work.csv", "G1,calibration,07", "G1,calibraton,07"))
    assert only_problem(report).allowed == "calibration"


def test_what_rests_on_a_refused_row_points_to_that_row() -> None:
    report = run(changed("people.csv", "d-pell,Dov Pell", "d-pell,"))
    first, *others = report.problems
    assert (first.file, first.line, first.column) == ("people.csv", 3, "name")
    assert {problem.what for problem in others} == {"its own line 3 in people.csv was refused"}
    assert {problem.file for problem in others} == {"qualifications.csv", "medicals.csv", "duty.csv"}


def test_the_same_line_twice_is_refused_and_a_second_act_of_a_day_is_not() -> None:
    line = b"G1,calibration,07/14/2025,passed,Bay Metrology,\n"
    files = facility()
    problem = only_problem(run(files | {"work.csv": files["work.csv"] + line}))
    assert "repeats line 2" in problem.what


def test_a_line_with_a_cell_too_many_is_refused() -> None:
    problem = only_problem(run(changed("contacts.csv", "Duty doctor,x200", "Duty doctor, lake,x200")))
    assert "the line has 6 cells and the header 5" in problem.what


def test_an_unknown_file_is_refused_with_the_name_that_may_be_meant() -> None:
    problem = only_problem(run(facility() | {"equipments.csv": b"tag\n"}))
    assert "equipment.csv" in problem.advice


@pytest.mark.parametrize(
    ("content", "words"),
    [(b'key,name\na,"b\n', "double quote"), (b"key,name\na,T\xf8n\n", "not written in utf-8"), (b"", "is empty")],
)
def test_a_file_that_cannot_be_read_stops_all_with_2(content: bytes, words: str) -> None:
    report = run(facility() | {"people.csv": content})
    assert report.exit_code == 2
    assert words in only_problem(report).what
    assert not Site.objects.exists()


def test_files_without_a_site_say_what_is_missing() -> None:
    files = facility()
    del files["site.csv"]
    report = run(files)
    assert report.exit_code == 1
    assert any("site.csv" in problem.advice for problem in report.problems)


def test_good_rows_can_be_asked_for() -> None:
    files = changed("equipment.csv", "viewport,main", "porthole,main")
    report = run(files, Options(take_good_rows=True))
    assert report.taken
    assert report.exit_code == 1
    assert list(Equipment.objects.values_list("tag", flat=True)) == ["G1", "G2", "K1"]
    assert report.count("equipment.csv").refused == 1
    assert Person.objects.count() == 3


def test_a_formula_cell_is_text_and_stands_in_quotes_in_the_report() -> None:
    report = run(changed("equipment.csv", "viewport,main", "=cmd|'/c calc'!A1,main"))
    line = next(line for line in report.as_text().splitlines() if "calc" in line)
    assert not line.strip().startswith(("=", "+", "-", "@"))
    assert "“=cmd|'/c calc'!A1”" in line
    stored = run(changed("equipment.csv", "Viewport 1", "=1+1"))
    assert stored.taken
    assert Equipment.objects.get(tag="V1").name == "=1+1"
