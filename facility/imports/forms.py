"""The upload form: several CSV files, or one zip of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.imports.folder import MOST_BYTES, UnreadableError, gathered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.core.files.uploadedfile import UploadedFile


class ManyFilesInput(forms.ClearableFileInput):
    """A file input that takes several files."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """Files by name, a zip among them opened."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> dict[str, bytes]:
        uploads: Sequence[UploadedFile[Any]] = data if isinstance(data, list | tuple) else [data] if data else []
        if not uploads:
            raise ValidationError(_("Choose the CSV files, or a zip of them."), code="required")
        size = sum(upload.size or 0 for upload in uploads)
        if size > MOST_BYTES:
            raise ValidationError(
                _("%(size)s bytes are more than the %(most)s that one import takes. Import in parts."),
                code="size", params={"size": size, "most": MOST_BYTES},
            )  # fmt: skip
        try:
            return gathered((upload.name or "", upload.read()) for upload in uploads)
        except UnreadableError as error:
            raise ValidationError(str(error), code="unreadable") from None


class UploadForm(forms.Form):
    """What to take in."""

    chosen = ManyFilesField(
        label=_("CSV files, or one zip"),
        help_text=_("At most 20 MB. Nothing is stored yet: first you see what would happen."),
    )


class TakeForm(forms.Form):
    """The second step: take in what was shown."""

    token = forms.CharField(widget=forms.HiddenInput)
    good_rows = forms.BooleanField(
        label=_("Take the good rows although others are refused"), required=False,
        help_text=_("The refused rows then have to be corrected and imported again."),
    )  # fmt: skip
