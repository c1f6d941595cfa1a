"""The figures of a year as known on a day: the paper, the table for a spreadsheet, and the page that asks for them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from facility import events
from facility.access import Act, enter
from facility.compute.csv_writing import csv_text
from facility.fields import DayField, day_text
from facility.report.scope import event_word
from facility.report.shape import Cell, Section, Table
from facility.small_papers.asking import Ask, form_or_paper, given
from facility.small_papers.forms import PrintForm
from facility.small_papers.making import Paper
from facility.small_papers.year import Year
from facility.small_papers.year_plant import plant
from facility.small_papers.year_runs import runs

if TYPE_CHECKING:
    from datetime import date

    from facility.http import StaffRequest
    from facility.small_papers.making import Print
    from facility.small_papers.year import Part

PDF, CSV = "pdf", "csv"
OLDEST = 1990
HEAD = ("part", "figure", "value", "unit", "query", "records", "newest event")


class YearForm(PrintForm):
    """Which year, as known on which day, as a paper or a table, with small numbers or without."""

    year = forms.IntegerField(label=gettext_lazy("Year"), min_value=OLDEST)
    known_on = DayField(
        label=gettext_lazy("As known on"),
        help_text=gettext_lazy("Counted is what was recorded by the end of this day; what came later, late entries and corrections too, is not in it. The same question gives the same figures again."),
    )  # fmt: skip
    form = forms.ChoiceField(
        label=gettext_lazy("As"), choices=[(PDF, gettext_lazy("a paper")), (CSV, gettext_lazy("a table (CSV)"))]
    )
    exact = forms.BooleanField(
        label=gettext_lazy("Exact small numbers of people treated; for the house only"), required=False
    )

    def __init__(self, *args: Any, today: date, may_exact: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        self.fields["year"].initial = today.year
        self.fields["known_on"].initial = day_text(today)
        if not may_exact:
            del self.fields["exact"]

    def clean_year(self) -> int:
        year: int = self.cleaned_data["year"]
        if year > self.today.year:
            raise ValidationError(
                _("The year %(year)d lies ahead; it is %(now)d. Choose one that has begun.")
                % {"year": year, "now": self.today.year}
            )
        return year

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = self.cleaned_data
        year, day = typed.get("year"), typed.get("known_on")
        if day is not None and day > self.today:
            self.add_error(
                "known_on",
                _("%(day)s lies after today, %(today)s. Give a day that was.")
                % {"day": day_text(day), "today": day_text(self.today)},
            )
        elif day is not None and year is not None and day.year < year:
            self.add_error(
                "known_on",
                _("On %(day)s nothing of %(year)d could be known. Give a day of that year or later.")
                % {"day": day_text(day), "year": year},
            )
        return typed


def parts_of(year: Year, *, outside: bool) -> list[Part]:
    """Return every figure of a year. ``outside``: small numbers of people treated are kept back."""
    return [*runs(year, outside=outside), *plant(year, outside=outside)]


def year_paper(year: Year, printed: Print, *, outside: bool = True) -> Paper:
    """Return the figures of a year as a paper."""
    parts = parts_of(year, outside=outside)
    first, known = day_text(year.first), day_text(year.known_on)
    lead = _("%(site)s, %(first)s to %(last)s, as known at the end of %(known)s: every figure is counted from what was recorded by then, read from the log. What was entered or corrected later is not in it, and the same question gives the same figures again.") % {
        "site": year.site.name, "first": first, "last": day_text(year.last), "known": known}  # fmt: skip
    boxed = []
    if year.known_on <= year.last:
        boxed.append(_("The year was not over on that day: it is told up to the end of %(known)s.") % {"known": known})
    if not year.day_is_over:
        boxed.append(_("That day is not over yet: asked again later, it may give other figures."))
    newest = event_word(year.known.newest) if year.known.newest else _("no event")
    return Paper(
        f"year-{year.site.key}-{year.year}-known-{year.known_on:%Y%m%d}", _("Figures of %(year)d") % {"year": year.year},
        _("known up to %(event)s") % {"event": newest}, tuple(_section(one) for one in parts), lead=lead, boxed=tuple(boxed),
        plate=((_("Year"), str(year.year)), (_("As known on"), known)),
    )  # fmt: skip


def _section(part: Part) -> Section:
    cells = tuple(
        (
            Cell(one.label, sub=one.query), Cell(f"{one.value} {one.unit}".strip(), figure=True, strong=True),
            Cell("\u2013" if one.records is None else str(one.records), figure=True), Cell(event_word(one.newest) if one.newest else "\u2013", figure=True),
        )
        for one in part.figures
    )  # fmt: skip
    head = (_("Figure, and what was counted"), _("Value"), _("Records"), _("Newest event"))
    table = Table(_("Each figure with the records behind it"), head, cells, (54, 18, 12, 16), _("None."))
    return Section(part.title, tables=(table,), notes=(part.note,) if part.note else ())


def as_csv(parts: list[Part]) -> str:
    """Return the figures as CSV (RFC 4180)."""
    rows = [
        (one.part, one.label, one.value, one.unit, one.query, "" if one.records is None else one.records, one.newest or "")
        for part in parts for one in part.figures
    ]  # fmt: skip
    return csv_text(HEAD, rows)


@require_safe
def year_end(request: StaffRequest, site: str) -> HttpResponse:
    """Ask which year as known on which day, and send its figures."""
    visit = enter(request, site, Act.SEE)
    today = events.now().astimezone(ZoneInfo(visit.site.zone)).date()
    form = YearForm(given(request), today=today, may_exact=visit.may(Act.PACK))
    if form.is_bound and form.is_valid() and form.cleaned_data["form"] == CSV:
        asked = form.cleaned_data
        year = Year(visit.site, asked["year"], asked["known_on"], events.now())
        text = as_csv(parts_of(year, outside=not asked.get("exact", False)))
        answer = HttpResponse(text, content_type="text/csv; charset=utf-8; header=present")
        answer["Content-Disposition"] = (
            f'attachment; filename="year-{visit.site.key}-{year.year}-known-{year.known_on:%Y%m%d}.csv"'
        )
        return answer
    ask = Ask(
        _("Figures of a year"),
        _("Runs, hours, outcomes, downtime, checks, drills, defects, gas, comparisons and waivers of one year, as they were known on a day you choose; each with what was counted and the newest event behind it."),
        button=_("Make the figures"),
    )  # fmt: skip

    def make(printed: Print, asked: dict[str, Any]) -> Paper:
        year = Year(visit.site, asked["year"], asked["known_on"], printed.at)
        return year_paper(year, printed, outside=not asked.get("exact", False))

    return form_or_paper(request, visit, form, ask, make)
