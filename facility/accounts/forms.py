"""Forms of the account pages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth import authenticate, password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.models import Person, Site, SiteRole, User

if TYPE_CHECKING:
    from django.http import HttpRequest


class SignInForm(AuthenticationForm):
    """Sign-in name and password, in the words that the other account pages use."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Sign-in name")


class PasswordFields(forms.Form):
    """A new password, typed twice. May be pasted."""

    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("At least 10 characters; a few words in a row are good."),
    )
    again = forms.CharField(
        label=_("Password once more"), strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )

    def __init__(self, *args: Any, user: User | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user

    def clean(self) -> dict[str, Any]:
        """Refuse two different passwords and weak ones."""
        data = super().clean() or self.cleaned_data
        password, again = data.get("password"), data.get("again")
        if password and again and password != again:
            self.add_error("again", ValidationError(_("The two passwords differ. Type the same one twice.")))
        elif password:
            try:
                password_validation.validate_password(password, self.user)
            except ValidationError as refused:
                self.add_error("password", refused)
        return data


class FirstUserForm(PasswordFields):
    """The first account of an installation."""

    username = forms.CharField(label=_("Sign-in name"), max_length=150, help_text=_("For example klindqvist."))
    full_name = forms.CharField(label=_("Name"), max_length=150, help_text=_("As it is to stand under signatures."))

    field_order = ("full_name", "username", "password", "again")

    def clean_username(self) -> str:
        """Refuse characters that a sign-in name may not have."""
        username: str = self.cleaned_data["username"]
        User.username_validator(username)
        return username


class InviteForm(forms.Form):
    """Who is to get an account at this site, and in which roles."""

    full_name = forms.CharField(label=_("Name"), max_length=150)
    username = forms.CharField(label=_("Sign-in name"), max_length=150)
    email = forms.EmailField(
        label=_("E-mail address"), required=False, max_length=254,
        help_text=_("For the digest of the day. May be empty; its owner can give or change it under How I am told."),
    )  # fmt: skip
    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=SiteRole.choices, widget=forms.CheckboxSelectMultiple,
        help_text=_("What each role may do stands at the end of this page."),
    )  # fmt: skip
    person = forms.ModelChoiceField(
        label=_("Belongs to"), queryset=Person.objects.none(), required=False, empty_label=_("nobody of the crew")
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = Person.objects.filter(site=site, user=None, retired_at=None)  # type: ignore[attr-defined]  # a ModelChoiceField

    def clean_username(self) -> str:
        """Refuse a name that is in use or has characters it may not have."""
        username: str = self.cleaned_data["username"]
        User.username_validator(username)
        if User.objects.filter(username=username).exists():
            raise ValidationError(
                _("The sign-in name “%(name)s” is in use. Choose another."), code="unique", params={"name": username}
            )
        return username


class RolesForm(forms.Form):
    """The roles of one account at this site."""

    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=SiteRole.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    reason = forms.CharField(label=_("Reason"), max_length=500)


class ReasonForm(forms.Form):
    """Why something is done; kept with the record."""

    reason = forms.CharField(label=_("Reason"), max_length=500)


class OwnPasswordForm(PasswordFields):
    """One's own new password, with the old one; wrong ones are counted like at the door."""

    old = forms.CharField(
        label=_("Present password"), strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )  # fmt: skip

    field_order = ("old", "password", "again")

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.fields["password"].label = _("New password")
        self.fields["again"].label = _("New password once more")

    def clean_old(self) -> str:
        """Refuse a wrong old password."""
        old: str = self.cleaned_data["old"]
        if self.user is None or authenticate(self.request, username=self.user.username, password=old) != self.user:
            raise ValidationError(_("That is not your present password."), code="old")
        return old
