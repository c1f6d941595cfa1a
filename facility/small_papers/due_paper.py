"""The due list as a paper: what is late first, then week by week, with room to tick and to sign by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.counted import counted
from facility.fields import day_text
from facility.pack.scope import AREAS
from facility.readiness.services import caution
from facility.small_papers.asking import Ask, form_or_paper, given
from facility.small_papers.due import PEOPLE, WHOLE, Asked, lines_of, weeks
from facility.small_papers.forms import PrintForm
from facility.small_papers.making import Paper

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest
    from facility.small_papers.due import DueLine
    from facility.small_papers.making import Print

DAYS_AHEAD, MOST_DAYS = 35, 366


class DueForm(PrintForm):
    """How far ahead, and of what."""

    days = forms.IntegerField(
        label=gettext_lazy("Days ahead"), min_value=1, max_value=MOST_DAYS, initial=DAYS_AHEAD,
        help_text=gettext_lazy("What is overdue or not known stands on it in any case."),
        error_messages={
            name: gettext_lazy("Type how many whole days ahead, from 1 to 366, such as 35.")
            for name in ("required", "invalid", "min_value", "max_value")
        },
    )  # fmt: skip
    area = forms.ChoiceField(label=gettext_lazy("Of"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice: Any = self.fields["area"]
        choice.choices = areas()


def areas() -> list[tuple[str, str]]:
    """Return what a list can be of: everything, each area of the plant, the people."""
    plant = [(key, _(words)) for key, (words, kinds) in AREAS.items() if kinds]
    return [(WHOLE, _("everything")), *plant, (PEOPLE, _("people, their papers, and telephone numbers"))]


def due_paper(asked: Asked, printed: Print) -> Paper:
    """Return the due list of a site."""
    lines = lines_of(asked)
    late = [one for one in lines if one.late]
    said = {
        "count": counted(len(lines), "line", "lines"), "late": len(late), "ahead": len(lines) - len(late), "from": day_text(asked.today),
        "until": day_text(asked.until),
    }  # fmt: skip
    groups = [(_("Overdue, past its day, or not known"), late)] if late else []
    groups += [
        (_("Week %(number)d, %(monday)s to %(sunday)s") % {
            "number": one.number, "monday": day_text(one.monday), "sunday": day_text(one.sunday)}, list(one.lines))
        for one in weeks(lines)
    ]  # fmt: skip
    return Paper(
        f"due-list-{asked.site.key}-{asked.today:%Y%m%d}", _("Due list"), _records(lines),
        lead=_("%(count)s: %(late)d overdue, past their day or not known, and %(ahead)d due from %(from)s to %(until)s.") % said,
        plate=((_("Of"), dict(areas())[asked.area]), (_("As known on"), day_text(asked.today))),
        template="small_papers/due.html",
        more={"groups": groups, "caution": caution(), "until": asked.until},
        wide=True,
    )  # fmt: skip


def _records(lines: list[DueLine]) -> str:
    return _("%(lines)s, each with its record number") % {"lines": counted(len(lines), "line", "lines")}


@require_safe
def due(request: StaffRequest, site: str) -> HttpResponse:
    """Ask how far ahead, and send the due list."""
    visit = enter(request, site, Act.SEE)
    form = DueForm(given(request))
    ask = Ask(
        _("Due list"),
        _("What is due, week by week, with what stops if it is missed and who may do it; with room to tick and to sign."
          " Enter what was done in the box: a tick on paper changes nothing."),
    )  # fmt: skip

    def make(printed: Print, asked: dict[str, Any]) -> Paper:
        return due_paper(Asked(visit.site, printed.at, asked["days"], asked["area"]), printed)

    return form_or_paper(request, visit, form, ask, make)
