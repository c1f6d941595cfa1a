"""What I was told here: acknowledged and acted on with a tap; my hour and what I muted; how honest each kind is."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.models import Notice, NoticeHour, NoticeKind, NoticeMute
from facility.notices import acting, honesty, mail, own_address
from facility.notices.digest import DEFAULT_HOUR
from facility.notices.drafts import group_of
from facility.notices.forms import AddressForm, HourForm, MuteForm

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE: Final = 422
SHOWN: Final = timedelta(days=31)
MOST: Final = 100


def mine(visit: Visit, request: StaffRequest) -> QuerySet[Notice]:
    """Return what a person was told at a site, and what the site's own ways were."""
    return Notice.objects.filter(Q(user=request.user) | Q(user=None), site=visit.site)


def told(request: StaffRequest, site: str) -> HttpResponse:
    """Show what I was told here within a month, newest first; what waits for somebody comes before."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    rows = mine(visit, request).filter(made_at__gt=now - SHOWN).order_by("-made_at", "-pk")
    once = {group_of(one.once_key): one for one in sorted(rows[:MOST], key=lambda one: one.user_id is not None)}
    lines = [(mark_of(one, now), one) for one in once.values()]  # my own copy stands for the site's
    lines.sort(key=lambda line: (line[1].acknowledged_at is not None, -line[1].made_at.timestamp()))
    context = {
        "visit": visit, "place": "records", "lines": lines, "may_answer": visit.may(Act.DEFECT),
        "may_snooze": visit.may(Act.PLANT), "may_judge": visit.may(Act.RULES), "digest": NoticeKind.DIGEST,
        "test": NoticeKind.TEST,
    }  # fmt: skip
    return render(request, "notices/told.html", context)


def mark_of(notice: Notice, now: datetime) -> str:
    """Return the mark of a notice: seen, waited for, late, or simply told."""
    if notice.acted_at is not None or notice.acknowledged_at is not None:
        return "indate"
    if notice.kind == NoticeKind.UNANSWERED:
        return "over"
    return "due" if notice.answer_by is not None and notice.answer_by > now else "open"


@require_POST
def answer(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Acknowledge a notice, or say that I acted on it. A second tap changes nothing."""
    visit = enter(request, site, Act.DEFECT)
    row = get_object_or_404(mine(visit, request).select_related("site"), pk=pk)
    if request.POST.get("do") == "done":
        acting.done(row, by=visit.actor)
        messages.success(request, _("Noted as acted on."))
    else:
        acting.acknowledge(row, by=visit.actor)
        messages.success(request, _("Acknowledged: nobody else is called for it."))
    return redirect("notices:told", site)


def settings_page(request: StaffRequest, site: str) -> HttpResponse:
    """Show and change at which hour and address I am told, and what I muted. Directors see who muted what."""
    visit = enter(request, site, Act.SEE)
    doing = request.POST.get("do", "")
    hour = NoticeHour.objects.filter(user=request.user).values_list("hour", flat=True).first()
    shown: dict[str, Any] = {
        "hour": HourForm(request.POST if doing == "hour" else None, initial={"hour": DEFAULT_HOUR if hour is None else hour}),
        "address": AddressForm(request.POST if doing == "address" else None, initial={"address": request.user.email}),
        "mute": MuteForm(request.POST if doing == "mute" else None),
    }  # fmt: skip
    sent = shown.get(doing)
    if request.method == "POST" and sent is not None and sent.is_valid() and _do(doing, sent, visit, request):
        return redirect("notices:mine", site)
    mutes = NoticeMute.objects.filter(site=visit.site, retired_at=None).select_related("user").order_by("kind", "pk")
    mutes = mutes if visit.may(Act.RULES) else mutes.filter(user=request.user)
    status = UNPROCESSABLE if any(form.errors for form in shown.values()) else 200
    context = {
        "visit": visit, "place": "records", "forms": shown, "mutes": list(mutes), "me": request.user.pk,
        "form": sent or shown["hour"], "has_mail": mail.is_set_up(),
    }  # fmt: skip
    return render(request, "notices/mine.html", context, status=status)


def _do(doing: str, form: Any, visit: Visit, request: StaffRequest) -> bool:
    """Carry out one form; a refusal stands beside its field and nothing is lost."""
    typed = form.cleaned_data
    try:
        if doing == "hour":
            acting.choose_hour(request.user, typed["hour"], by=visit.actor)
        elif doing == "address":
            own_address.choose(request.user, typed["address"], by=visit.actor)
        else:
            acting.mute(visit.site, request.user, typed["kind"], typed["why"], by=visit.actor)
    except ValidationError as error:
        refuse(form, error)
        return False
    messages.success(request, _("Kept."))
    return True


@require_POST
def lift(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Be told of a kind again."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(NoticeMute, pk=pk, site=visit.site, user=request.user)
    try:
        acting.unmute(row, by=visit.actor)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("You are told of it again."))
    return redirect("notices:mine", site)


def judged(request: StaffRequest, site: str) -> HttpResponse:
    """Show for each kind how often it was sent and acted on, and which one might go."""
    visit = enter(request, site, Act.RULES)
    rows = honesty.heard(visit.site, events.now())
    labels = dict(NoticeKind.choices)
    worst = honesty.put_up(rows)
    context = {
        "visit": visit, "place": "records", "rows": [(labels[NoticeKind(row.kind)], row) for row in rows],
        "worst": labels[NoticeKind(worst.kind)] if worst else "", "worst_row": worst, "days": honesty.BACK.days,
        "least": honesty.LEAST_SENT, "enough": honesty.ENOUGH_PERCENT,
    }  # fmt: skip
    return render(request, "notices/honesty.html", context)
