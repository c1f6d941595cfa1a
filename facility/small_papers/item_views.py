"""The page from which the history of one item is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.small_papers.asking import Ask, form_or_paper, given
from facility.small_papers.forms import PrintForm
from facility.small_papers.item_history import history_paper
from maintenance.models import Equipment

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest
    from facility.small_papers.making import Paper, Print


@require_safe
def equipment(request: StaffRequest, site: str, tag: str) -> HttpResponse:
    """Ask for the sheet, and send the history of an item; one that was taken out of the records has its history too."""
    visit = enter(request, site, Act.SEE)
    item = get_object_or_404(Equipment.objects.select_related("site", "chamber", "lock"), site=visit.site, tag=tag)
    ask = Ask(
        _("History of %(tag)s") % {"tag": item.tag},
        _("Everything on record of this item, the oldest first: what is asked of it, what was done, comparisons with their drift, readings outside limits, defects and returns, restrictions, corrections, files."),
    )  # fmt: skip

    def make(printed: Print, _asked: dict[str, Any]) -> Paper:
        return history_paper(item, printed)

    return form_or_paper(request, visit, PrintForm(given(request)), ask, make)
