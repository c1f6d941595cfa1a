"""Taking kept files in as a job: in the name of the person who asked, with its progress and report beside the files.

One transaction holds the rows, their events and the sentence in the job's row that says that they are stored. The
report lies there before that transaction ends, so that a job that is run again after a kill finds either nothing
stored and begins anew, or all of it and tells the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final

from django.db import connection, transaction
from django.utils.translation import gettext as _

from facility import events
from facility.access import FIRST_USER, Act, acts_at
from facility.events import Actor
from facility.imports import waiting
from facility.imports.report import Report, from_json
from facility.imports.take import Options, take
from facility.jobs.progress import telling
from facility.jobs.queue import Kind, enqueue
from facility.models import Job, Site, User

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

TELL_SECONDS: Final = 1.0
AT_ONCE_BYTES: Final = 32 * 1024
"""Files up to this size are tried while the page waits; longer ones by a job."""


class Way(StrEnum):
    """How files are taken: only tried, all or nothing, or the good rows."""

    TRY = "try"
    ALL = "all"
    GOOD = "good"


class NoRightError(ValueError):
    """The person who asked may not import there (any more)."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Which files, how, and who asked for it: an account by its number, the site, the digits of the session."""

    token: str
    way: Way
    user: int
    site: int | None
    session: str = ""

    def key(self) -> str:
        """Return the key under which its job is stored once."""
        return f"import:{self.token}:{self.way}"


def ask(asked: Asked) -> Job:
    """Store the job that takes kept files in; asked twice it is one job."""
    waiting.stay(asked.token)
    who = {"user": asked.user, "site": asked.site, "session": asked.session}
    arguments = {"token": asked.token, "way": asked.way.value, "who": who}
    return enqueue(Kind.IMPORT, arguments, once_key=asked.key())


def asked_by(job: Job) -> Asked:
    """Return what a job was asked to do. Errors: KeyError, ValueError for arguments of another kind."""
    told: dict[str, Any] = job.arguments
    return Asked(told["token"], Way(told["way"]), **told["who"])


def run(asked: Asked, say: Callable[[str], object]) -> str:
    """Take the files in and keep the report; a second run finds it done. Return the report's first sentence.

    What is refused stands in the report. Errors: those of the database and of the disk; then nothing is stored.
    """
    if (report := report_of(asked)) is not None and not report.taken:
        return report.headline()
    say(_("Reading the files"))
    files = waiting.fetch(asked.token)
    try:
        report = _stored(asked, files)
    except NoRightError as error:
        report = _keep(asked, _stopped(str(error)))
    if report.taken:
        waiting.drop(asked.token)
    waiting.forget_progress(asked.token, asked.way)
    return report.headline()


def _stored(asked: Asked, files: Mapping[str, bytes] | None) -> Report:
    """Errors: NoRightError."""
    with transaction.atomic():
        _one_at_a_time()
        job = Job.objects.filter(once_key=asked.key()).first()
        stored_before = report_of(asked) if job is not None and job.outcome else None
        if stored_before is not None:
            return stored_before
        if files is None:
            return _keep(asked, _stopped(_("the files are no longer kept here. Choose them again.")))
        options, actor = _in_whose_name(asked)
        report = _keep(asked, take(files, options, by=actor))
        if report.taken and job is not None:
            job.outcome = report.headline()[:500]
            job.save(update_fields=["outcome"])
        return report


def _one_at_a_time() -> None:
    """Wait until no other import or event is being written; SQLite has one writer at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [events.APPEND_LOCK])


def _in_whose_name(asked: Asked) -> tuple[Options, Actor]:
    """Return what the person who asked may take in now, and the actor of the events.

    Errors: NoRightError if the account is closed, or no role of it allows to import at the site any more.
    """
    user = User.objects.filter(pk=asked.user, is_active=True).first()
    site = Site.objects.filter(pk=asked.site, retired_at=None).first() if asked.site is not None else None
    if user is None:
        raise NoRightError(_("the account that asked for it is closed. Somebody who may import has to ask again."))
    if asked.site is None:
        acts, role = (None if user.is_superuser else frozenset[Act]()), FIRST_USER
    else:
        acts, role = acts_at(user, site) if site is not None else (frozenset[Act](), "")
    if acts is not None and Act.IMPORT not in acts:
        raise NoRightError(
            _("%(name)s may not import files here any more. Somebody who may has to ask again.") % {"name": user}
        )
    options = Options(site=site, acts=acts, dry_run=asked.way is Way.TRY, take_good_rows=asked.way is Way.GOOD,
                      say=_beside(asked))  # fmt: skip
    return options, Actor(name=str(user), user_id=user.pk, role=role, session=asked.session)


def _beside(asked: Asked) -> Callable[[str], object]:
    """Return what tells how far it is: to who hears the job, and at most once a second to the file beside the upload."""
    hear, written_at = telling(None), [-TELL_SECONDS]

    def tell(sentence: str) -> None:
        hear(sentence)
        now = events.steady_seconds()
        if now - written_at[0] >= TELL_SECONDS:
            written_at[0] = now
            waiting.note_progress(asked.token, asked.way, sentence)

    return tell


def _stopped(why: str) -> Report:
    return Report(stopped=why)


def _keep(asked: Asked, report: Report) -> Report:
    waiting.note_report(asked.token, asked.way, report.as_json() | {"stopped": report.stopped})
    return report


def report_of(asked: Asked) -> Report | None:
    """Return the kept report, None before it is there or when its day is over."""
    told = waiting.report_of(asked.token, asked.way)
    return from_json(told) if told is not None else None


def newest_of(user: User, site: Site | None) -> Job | None:
    """Return the newest import that this person asked for at a site."""
    rows = Job.objects.filter(kind=Kind.IMPORT, arguments__who__user=user.pk)
    rows = rows.filter(arguments__who__site=site.pk) if site is not None else rows.filter(arguments__who__site=None)
    return rows.order_by("-pk").first()


def was_asked(asked: Asked, way: Way | None = None) -> bool:
    """Return whether the same person asked before for these files at the same site, in this way or in any."""
    told = {"arguments__token": asked.token, "arguments__who__user": asked.user, "arguments__who__site": asked.site}
    rows = Job.objects.filter(kind=Kind.IMPORT, **told)
    return (rows if way is None else rows.filter(arguments__way=way.value)).exists()
