"""What each kind of job does, in words, for pages and notices."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_lazy

from facility.jobs.queue import Kind

WORDS: Final = {
    Kind.VERIFY_RECORDS: gettext_lazy("Check the records"),
    Kind.TIDY: gettext_lazy("Clear away old jobs and sessions"),
    Kind.SWEEP: gettext_lazy("Look for what falls due"),
    Kind.BACKUP: gettext_lazy("Make a backup"),
    Kind.COPY_BACKUP: gettext_lazy("Copy the newest backup"),
    Kind.TRY_BACKUP: gettext_lazy("Try whether the newest backup can be put back"),
    Kind.BUILD_PACK: gettext_lazy("Build a pack"),
    Kind.CHECK_PACK: gettext_lazy("Verify a pack"),
    Kind.RENDER_VOLUMES: gettext_lazy("Press the months that are over"),
    Kind.CHECKPOINT: gettext_lazy("Sign the head of the log"),
    Kind.SEND_NOTICES: gettext_lazy("Send the notices that wait"),
    Kind.WATCH_READINESS: gettext_lazy("Look whether readiness changed"),
    Kind.DIGESTS: gettext_lazy("Make the digests of the day"),
    Kind.ESCALATE: gettext_lazy("Raise what nobody has acknowledged"),
    Kind.TELL_CALL_OUT: gettext_lazy("Tell people of a call-out"),
    Kind.WATCH_BOX: gettext_lazy("Look what the box needs somebody for"),
    Kind.REFRESH_FLEET: gettext_lazy("Reckon all chambers anew for the page over them"),
    Kind.IMPORT: gettext_lazy("Take uploaded files in"),
}


def words_of(kind: str) -> str:
    """Return what a kind of job does, in words; its name where it has none."""
    return str(WORDS.get(kind, kind.replace("_", " ").capitalize()))  # type: ignore[call-overload]  # a text equals its member
