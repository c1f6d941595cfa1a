"""A report about one code: what its clauses ask for, what is on record for it, and nothing of other rules."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pytest

from facility import services
from facility.models import Pack
from facility.pack import building
from facility.report import build, contents, plant, rules
from facility.report.plant import states_of
from facility.report.scope import Frame, Scope
from facility.report.shape import Section
from maintenance.models import Defect, Equipment
from maintenance.upkeep.adopting import adopt, by_key, terms_from
from tests import make
from tests.maintenance.calibrating import support
from tests.treatments.after.pdf_text import pages_of

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = pytest.mark.django_db
#: facility/reference/sources.toml [cfr-46-197]
CODE = "United States, 46 CFR part 197, subpart B, commercial diving operations"
FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)
MAKERS = "maker's handbook"


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Any) -> None:
    settings.DATA_DIR = tmp_path


@pytest.fixture
def site() -> Site:
    """Return a site with a gauge under the code and under its maker's book, and a compressor under the latter alone."""
    site = make.site(key="coded")
    gauge, other = make.equipment(site, tag="G-1"), make.equipment(site, tag="C-1", kind="compressor")
    clause = by_key("I1")
    assert clause is not None
    (rule,) = adopt(clause, [gauge], terms_from(clause), by=make.BY)
    own, oil = (make.rule(one, name="oil", source=MAKERS) for one in (gauge, other))
    for under in (own, oil):
        make.work(under, date(2026, 3, 4))
    support.comparison(gauge, support.certificate(support.reference(site)), rule)
    for number, item in enumerate((gauge, other), 1):
        found_at = datetime(2026, 3, 5, number, tzinfo=UTC)
        services.add(
            Defect(site=site, equipment=item, number=number, what="x", effect="watch", found_at=found_at), by=make.BY
        )
    return site


def frame(site: Site, source: str = CODE) -> Frame:
    """Return the frame of a report about a code."""
    areas = ("vessels", "gauges", "fire", "gas", "electrical", "other")
    return Frame(Scope(site, None, FIRST, LAST, areas, source=source), FIRST, LAST, LAST)


def cells(section: Section, place: int = 0) -> list[list[str]]:
    """Return the rows of a table of a section as texts."""
    return [[cell.text for cell in row] for row in section.tables[place].rows]


def act_of_clause() -> str:
    """Return the name that the clause gives to the act."""
    clause = by_key("I1")
    assert clause is not None
    return clause.what


def test_the_plant_stands_there_with_what_the_code_asks_for_and_nothing_else(site: Site) -> None:
    told = frame(site)
    sections = plant.standing(told, states_of(told))
    assert [row[:2] for section in sections for row in cells(section)] == [["G-1", act_of_clause()]]


def test_work_comparisons_and_defects_are_of_the_code(site: Site) -> None:
    told = frame(site)
    work, compared, defects, *_rest = contents.month(told.scope, FIRST, LAST, LAST).sections
    assert [row[1:3] for row in cells(work)] == [["G-1", act_of_clause()]]
    assert [row[1] for row in cells(compared)] == ["G-1"]
    assert [row[0] for row in cells(defects)] == ["0001"]
    assert len(plant.defects_open(told)) == 1


def test_without_a_code_everything_is_there(site: Site) -> None:
    told = frame(site, source="")
    work, *_rest = (
        one for one in contents.month(told.scope, FIRST, LAST, LAST).sections if one.title == "Work on the plant"
    )
    assert len(cells(work)) == 3
    assert len(plant.defects_open(told)) == 2


def test_the_clause_map_goes_from_the_clauses_of_the_code_to_evidence_and_what_nobody_adopted(site: Site) -> None:
    told = frame(site)
    section = rules.clause_map(told, states_of(told))
    (row,) = cells(section)
    assert section.tables[0].caption == CODE
    assert row[0] == "197.458"
    assert row[1:4] == [f"G-1: {act_of_clause()}", "1 Mar 2026", "in date"]
    left = rules.not_adopted(told)
    assert [table.caption for table in left.tables] == [CODE]
    places = [line[0] for line in cells(left)]
    assert "197.462" in places
    assert "197.458" not in places


def test_a_clause_map_of_everything_has_a_table_for_each_code(site: Site) -> None:
    clause = by_key("F6a")  # 29 CFR 1910.157(e), as facility/reference/sources.toml [cfr-29-1910] names it
    assert clause is not None
    adopt(clause, [make.equipment(site, tag="EXT-1", kind="fire")], terms_from(clause), by=make.BY)
    told = frame(site, source="")
    section = rules.clause_map(told, states_of(told))
    captions = [table.caption for table in section.tables]
    other = "United States, 29 CFR part 1910, subparts L and T, fire protection and commercial diving"
    assert captions == [other, CODE]
    assert cells(section)[0][0] == "1910.157(e)"
    assert rules.code_and_place("the house's own") == ("Other sources", "the house's own")


def test_deviations_and_numbers_from_memory_are_of_the_code(site: Site) -> None:
    make.rule(Equipment.objects.get(tag="C-1"), name="look", source=MAKERS, standing="memory")
    assert rules.from_memory(frame(site)).rows == ()
    assert len(rules.from_memory(frame(site, source="")).rows) == 1


def test_a_report_about_a_code_is_made_and_says_what_its_opening_counts(site: Site) -> None:
    scope = frame(site).scope
    made = build.volumes(scope, tell=lambda _sentence: None)
    told = {one.name: " ".join(" ".join(pages_of(one.path.read_bytes())).split()) for one in made}
    assert set(told) == {
        "report-1-summary.pdf", "report-2-plant.pdf", "report-3-people-and-rules.pdf", "report-4-month-2026-03.pdf",
    }  # fmt: skip
    assert (
        "neither told nor counted here: checks and their gaps, runs outside the house rules, waivers."
        in told["report-1-summary.pdf"]
    )
    assert "C-1" not in told["report-2-plant.pdf"]
    assert "1 rule here names this code." in told["report-3-people-and-rules.pdf"]


def test_a_pack_about_a_code_asks_for_a_report_about_it(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[Scope] = []
    monkeypatch.setattr(build, "told", lambda scope, tell: seen.append(scope))
    pack = Pack(site=site, number=1, scope="code:cfr-46-197", from_day=FIRST, to_day=LAST)
    building._report(pack, building.scope_of(pack), "default", lambda _sentence: None)
    (scope,) = seen
    assert (scope.source, scope.words) == (CODE, CODE)
