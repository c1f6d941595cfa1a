"""The wall sheet as a paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.counted import counted
from facility.readiness.services import caution
from facility.readiness.telling.availability import call_words
from facility.shown import instant_text
from facility.small_papers.asking import Ask, form_or_paper, given
from facility.small_papers.forms import PrintForm
from facility.small_papers.making import Paper
from facility.small_papers.wall import wall_of

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest
    from facility.small_papers.making import Print

TALL, WIDE = "tall", "wide"


class WallForm(PrintForm):
    """Which side of the sheet is up."""

    turned = forms.ChoiceField(
        label=gettext_lazy("Hung"), initial=TALL,
        choices=[(TALL, gettext_lazy("upright")), (WIDE, gettext_lazy("the long side across"))],
    )  # fmt: skip


def wall_paper(printed: Print, *, wide: bool = False) -> Paper:
    """Return the wall sheet of a site."""
    site = printed.site
    wall = wall_of(site, printed.at)
    until = instant_text(wall.void_from, ZoneInfo(site.zone))
    return Paper(
        f"wall-sheet-{site.key}-{printed.at:%Y%m%d-%H%M}",
        _("Wall sheet: what could be treated then"),
        _("%(tables)s, void from %(at)s") % {"tables": counted(len(wall.lines), "table", "tables"), "at": until},
        plate=((_("As known at"), instant_text(wall.at, ZoneInfo(site.zone))), (_("Void from"), until)),
        template="small_papers/wall.html",
        more={"wall": wall, "call_words": call_words(), "caution": caution()},
        wide=wide,
    )


@require_safe
def wall(request: StaffRequest, site: str) -> HttpResponse:
    """Ask how it is hung, and send the wall sheet."""
    visit = enter(request, site, Act.SEE)
    ask = Ask(
        _("Wall sheet"),
        _("In large type: each table as known when it is printed, whom to call, and the digits by which the box and its packs"
          " are known again. It names the time after which it says nothing; take it down then, or print another."),
    )  # fmt: skip

    def make(printed: Print, asked: dict[str, Any]) -> Paper:
        return wall_paper(printed, wide=asked["turned"] == WIDE)

    return form_or_paper(request, visit, WallForm(given(request)), ask, make)
