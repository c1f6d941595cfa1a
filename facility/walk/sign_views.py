"""Look back, sign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, enter
from facility.compute.sheets import Outcome
from facility.http import StaffRequest
from facility.models import Check, CheckState
from facility.walk import signing
from facility.walk.check_views import check_of
from facility.walk.forms import SignForm
from facility.walk.services import AlreadySignedError
from facility.walk.signing import MEANING, ChangedSinceShownError, Signing
from facility.walk.station import items_of, walk_of
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.access import Visit
    from facility.walk.station import Item

CONFLICT, UNPROCESSABLE = 409, 422


def sign(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show what was found, worst first; a POST with the password signs it as it was shown."""
    visit = enter(request, site)
    found = check_of(visit, pk)
    form = SignForm(request.POST or None, request=request) if visit.may(Act.SIGN) else None
    if request.method == "POST":
        enter(request, site, Act.SIGN)
        if form is not None and form.is_valid():
            return _sign(request, visit, found, form)
        return look_back(request, visit, found, form, status=UNPROCESSABLE)
    if found.state != CheckState.OPEN:
        return redirect("walk:check", site, pk)
    return look_back(request, visit, found, form)


def _sign(request: StaffRequest, visit: Visit, found: Check, form: SignForm) -> HttpResponse:
    try:
        check, entry = signing.sign(
            found.pk, form.cleaned_data["shown"], Signing(request.user, str(MEANING)), site=visit.site, by=visit.actor
        )
    except Check.DoesNotExist:
        raise Http404 from None
    except AlreadySignedError as error:
        messages.error(request, refusal(error))
        return redirect("walk:check", visit.site.key, found.pk)
    except (ChangedSinceShownError, ValidationError) as error:
        form.add_error(None, refusal(error))
        return look_back(request, visit, found, form, status=CONFLICT)
    messages.success(request, _("Signed. Stored, entry no. %(number)s.") % {"number": entry})
    return redirect("walk:check", visit.site.key, check.pk)


def look_back(
    request: StaffRequest, visit: Visit, check: Check, form: SignForm | None, *, status: int = 200
) -> HttpResponse:
    """Render the page: open, outside limits and unread first; what came after the last look is marked."""
    answers = signing.answers_of(check)
    walk = walk_of(check, answers)
    items = items_of(walk, visit.site, walk.steps)
    defects = signing.open_defects(visit.site, walk.steps)
    shown = signing.shown(check, answers, defects)
    seen = form.what_was_seen() if form is not None and form.is_bound else None
    context = {
        "visit": visit, "place": "log", "check": check, "walk": walk, "form": form, "shown": shown,
        "seen_now": ",".join([*(str(pk) for pk in shown.answers), *(f"d{defect.pk}" for defect in defects)]),
        "new": [item for item in items if seen is not None and any(str(told.answer.pk) not in seen for told in item.counting)],
        "new_defects": [defect for defect in defects if seen is not None and f"d{defect.pk}" not in seen],
        "defects": defects, "result": signing.result_now(walk.steps, answers), "meaning": MEANING,
    } | _sorted_out(items)  # fmt: skip
    return render(request, "walk/sign.html", context, status=status)


def _sorted_out(items: list[Item]) -> dict[str, list[Item]]:
    names = {
        "open_items": None,
        "bad": Outcome.BAD,
        "unread": Outcome.UNREAD,
        "not_fitted": Outcome.NOT_FITTED,
        "good": Outcome.GOOD,
    }
    return {name: [item for item in items if item.outcome is outcome] for name, outcome in names.items()}
