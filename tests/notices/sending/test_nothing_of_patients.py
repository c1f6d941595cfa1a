"""Nothing about a patient leaves in a notice, whatever makes it and on whichever way; fitness stays in the box too."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility.jobs import notice_tasks
from facility.models import Membership, Notice, NoticeWay, SiteRole, Told
from facility.notices import ways
from tests import make
from tests.notices.sending import kit, servers
from tests.pack.filling import fill
from treatments.models import CallOut, Plan

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.django_db

WORD = re.compile(r"Qm\d{5}zX")
SHUT_IN = ("treatments.Patient.", "treatments.ClinicalText.", "treatments.Exposure.", "facility.MedicalFitness.")
WAYS = ("email", "webhook", "push")


def make_all(clock: kit.Clock, call: int) -> None:
    """Let every job that makes notices look over a day, while what was told last stands to change."""
    notice_tasks.tell_call_out(call)
    for turn in range(9):
        notice_tasks.watch_readiness()
        if turn == 1:
            for row in Told.objects.all():
                row.states = dict.fromkeys(row.states, "Ready")
                row.save()
        for task in (notice_tasks.digests, notice_tasks.raise_unanswered, notice_tasks.watch_box):
            task()
        kit.send()
        clock.pass_by(hours=3)


def test_no_word_of_a_patient_and_none_of_fitness_leaves_the_box(
    clock: kit.Clock, web: servers.WebServer, post: servers.MailServer, settings: Any, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path
    filled = fill()
    site = filled.site
    Plan.objects.update(gas={})  # a list, as filled, is none
    CallOut.objects.update(ended_at=None)
    clock.now = make.NOON + timedelta(hours=1)
    NoticeWay.objects.update(retired_at=clock.now)
    people = [make.user(site, role, is_superuser=role == SiteRole.DIRECTOR) for role in SiteRole.values]
    for user in [None, *people]:
        for way in WAYS:
            address = "all@example.org" if way == "email" else web.at(f"/{way}")
            ways.add(NoticeWay(site=site, user=user, way=way, address=address), by=make.BY)
    assert Membership.objects.filter(site=site).count() > len(people)
    make_all(clock, filled.rows["treatments.CallOut"].pk)
    left = [raw for _to, raw in post.letters] + [one.body for one in web.sent]
    left += ["\n".join(one.headers.values()).encode() for one in web.sent]
    words = {word for raw in left for word in WORD.findall(raw.decode())}
    shut_in = {word for place, word in filled.words.items() if place.startswith(SHUT_IN)}
    assert len(shut_in) > 5
    assert {"digest", "readiness", "call-out", "box"} <= set(Notice.objects.values_list("kind", flat=True))
    assert words, "no notice named anything of the records: this test would hold nothing"
    assert words & shut_in == set()
