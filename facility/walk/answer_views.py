"""Taking one answer, from a device's script or from a plain form, and saying what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import evidence
from facility.access import Act, enter
from facility.compute.sheets import ImplausibleError, SheetError
from facility.models import Check
from facility.walk import answering, check_views
from facility.walk.forms import AnswerForm, answer_form
from facility.walk.services import AlreadySignedError
from facility.walk.signing import answers_of
from facility.walk.station import Walk, items_of, walk_of
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.http import HttpRequest

    from facility.access import Visit
    from facility.walk.answering import Stored

CONFLICT, UNPROCESSABLE = 409, 422


@dataclass(frozen=True, slots=True)
class Refused:
    """An answer that was not taken. ``ask``: it may be sent again, with the word that it is right."""

    step: str
    sentence: str
    status: int
    ask: bool = False
    value: str = ""
    note: str = ""


@require_POST
def answer(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Store one answer at once. Answers JSON to a script, a page to a plain form."""
    visit = enter(request, site, Act.CHECK)
    try:
        form = answer_form(request)
        stored = _stored(form, visit, pk)
    except Check.DoesNotExist:
        raise Http404 from None
    except (SheetError, ValidationError) as error:
        return _say_refused(request, visit, pk, _refused(request, error))
    if _wants_json(request):
        return _say_stored(request, visit, stored)
    return redirect(_next_address(visit, stored))


def _stored(form: AnswerForm, visit: Visit, pk: int) -> Stored:
    if not form.is_valid():
        raise ValidationError([f"{name}: {error}" for name, errors in form.errors.items() for error in errors])
    meant_for = form.cleaned_data["by"]
    if meant_for is not None and meant_for != visit.actor.user_id:
        raise ValidationError(
            _("This was entered by another account on this device. Only that account can send it."), code="other"
        )
    upload = form.cleaned_data["photo"]
    photo = evidence.accept(upload, site=visit.site, by=visit.actor) if upload else None
    return answering.answer(pk, form.given(photo), site=visit.site, by=visit.actor)


def _refused(request: HttpRequest, error: SheetError | ValidationError) -> Refused:
    ask = isinstance(error, ImplausibleError)
    status = CONFLICT if ask or isinstance(error, AlreadySignedError) else UNPROCESSABLE
    posted = request.POST
    return Refused(posted.get("step", ""), refusal(error), status, ask, posted.get("value", ""), posted.get("note", ""))


def _wants_json(request: HttpRequest) -> bool:
    return request.headers.get("Accept", "").startswith("application/json")


def _say_refused(request: HttpRequest, visit: Visit, pk: int, refused: Refused) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"stored": False, "ask": refused.ask, "sentence": refused.sentence}, status=refused.status)
    check = check_views.check_of(visit, pk)
    walk = walk_of(check, answers_of(check))
    place = next(
        (stop.group.place for stop in walk.stops if refused.step in [step.key for step in stop.group.steps]), 1
    )
    return check_views.station_page(request, visit, walk, place, refused=refused)


def _say_stored(request: HttpRequest, visit: Visit, stored: Stored) -> JsonResponse:
    check = stored.check
    walk = walk_of(check, answers_of(check))
    step = next(step for step in walk.steps if step.key == stored.answer.step)
    items = items_of(walk, visit.site, [step])
    context = {
        "visit": visit, "check": check, "item": items[0],
        "people": check_views.others(visit) if step.needs_second else (),
    }  # fmt: skip
    with timezone.override(ZoneInfo(visit.site.zone)):
        html = render_to_string("walk/parts/item.html", context, request)
    return JsonResponse({
        "stored": True, "repeat": stored.repeat, "entry": stored.entry, "step": step.key, "html": html,
        "done": walk.done, "of": len(walk.steps),
    })  # fmt: skip


def _next_address(visit: Visit, stored: Stored) -> str:
    """Return the address of the same station, at the next open step of it."""
    check = stored.check
    walk: Walk = walk_of(check, answers_of(check))
    stop = next(stop for stop in walk.stops if stored.answer.step in [step.key for step in stop.group.steps])
    open_steps = [step.key for step in stop.group.steps if not walk.answers.get(step.key)]
    mark = f"s-{open_steps[0]}" if open_steps else "onward"
    return f"{reverse('walk:station', args=[visit.site.key, check.pk, stop.group.place])}#{mark}"
