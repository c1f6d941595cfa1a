"""What every stored thing has: who recorded it, when, its version, and whether it still counts."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self, TypeVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime


Row_co = TypeVar("Row_co", bound=models.Model, covariant=True)


class KeptQuerySet(models.QuerySet[Row_co]):
    """Rows that still count, and rows that once did."""

    def current(self) -> Self:
        """Keep what is neither retired, superseded nor void."""
        return self.filter(retired_at=None)

    def past(self) -> Self:
        """Keep what was retired, superseded or made void."""
        return self.filter(retired_at__isnull=False)


def can_be_stored(value: object) -> bool:
    r"""Return whether texts in a value can be stored on either database: without NUL and half characters.

    >>> can_be_stored("30 bar"), can_be_stored({"note": "a\0b"}), can_be_stored(["\ud800"])
    (True, False, False)
    """
    if isinstance(value, dict):
        return all(can_be_stored(part) for pair in value.items() for part in pair)
    if isinstance(value, list | tuple):
        return all(can_be_stored(part) for part in value)
    return not isinstance(value, str) or not ("\0" in value or any("\ud800" <= letter <= "\udfff" for letter in value))


class Kept(models.Model):
    """A thing with a lasting identity. Changed only by a service, which writes the event.

    ``row_version`` rises with each change and is compared before the next one, so that
    two people cannot overwrite each other unseen.
    """

    recorded_at = models.DateTimeField(_("recorded at"), editable=False)
    recorded_by = models.CharField(_("recorded by"), max_length=150, editable=False)
    row_version = models.PositiveIntegerField(default=1, editable=False)
    retired_at: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(
        _("retired at"), null=True, blank=True, editable=False
    )
    retired_reason = models.CharField(_("why retired"), max_length=500, blank=True, editable=False)

    objects = KeptQuerySet.as_manager()

    #: fields a form shows, in order; the generic pages read them
    SHOWN: ClassVar[tuple[str, ...]] = ()

    class Meta:
        abstract = True

    def unique_error_message(self, model_class: type[models.Model], unique_check: Sequence[str]) -> ValidationError:
        """Say which values are taken, and what to do."""
        fields = [model_class._meta.get_field(name) for name in unique_check if name != "site"]
        taken = ", ".join(f"{getattr(one, 'verbose_name', one.name)} “{getattr(self, one.name)}”" for one in fields)
        return ValidationError(
            _("There is a record already with %(taken)s. Correct that one or bring it back, or change this one."),
            code="unique" if len(unique_check) == 1 else "unique_together",
            params={"taken": taken},
        )

    def clean_fields(self, exclude: Collection[str] | None = None) -> None:
        """Refuse in words what a database or the log would refuse with a fault."""
        super().clean_fields(exclude=exclude)
        fields = [one for one in self._meta.concrete_fields if not can_be_stored(getattr(self, one.attname))]
        if fields:
            named = ", ".join(str(getattr(one, "verbose_name", one.name)) for one in fields)
            raise ValidationError(
                _("%(fields)s: holds a character that cannot be stored. Type it again without it."),
                code="character", params={"fields": named},
            )  # fmt: skip

    @property
    def is_current(self) -> bool:
        """Whether this row still counts."""
        return self.retired_at is None


class Entry(Kept):
    """A statement made at one time. Never edited: a correction is a new row that supersedes it."""

    supersedes = models.OneToOneField(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="superseded_by",
        verbose_name=_("supersedes"),
    )
    occurred_at: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(
        _("happened at"),
        null=True,
        blank=True,
        editable=False,
        help_text=_("As stated by the person; the server's own time is 'recorded at'."),
    )

    class Meta:
        abstract = True


USER_MODEL = settings.AUTH_USER_MODEL
