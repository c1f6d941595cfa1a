"""One-time links: the first account, an invitation, a new password. No e-mail is needed."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.urls import reverse
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode

from facility.models import User

if TYPE_CHECKING:
    from pathlib import Path


def _token_file() -> Path:
    path: Path = settings.DATA_DIR / "first-user-token"
    return path


def first_user_link() -> str | None:
    """Return the path of the page that makes the first account, or None once there is one."""
    if User.objects.exists():
        _token_file().unlink(missing_ok=True)
        return None
    path = _token_file()
    if not path.is_file():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(24), encoding="utf-8")
    return reverse("accounts:first_user", kwargs={"token": path.read_text(encoding="utf-8").strip()})


def awaits_first_user() -> bool:
    """Return whether the link of the first account is still to be opened."""
    return _token_file().is_file()


def is_first_user_token(token: str) -> bool:
    """Return whether ``token`` still opens the first-account page."""
    path = _token_file()
    if User.objects.exists() or not path.is_file():
        return False
    return secrets.compare_digest(token.encode(), path.read_text(encoding="utf-8").strip().encode())


def use_up_first_user_token() -> None:
    """Let the first-account link lead nowhere from now on."""
    _token_file().unlink(missing_ok=True)


def password_link(user: User) -> str:
    """Return the path by which ``user`` sets a password once.

    It ends when it is used, when the person signs in another way, or after PASSWORD_RESET_TIMEOUT.
    """
    uid = urlsafe_base64_encode(str(user.pk).encode())
    return reverse("accounts:accept", kwargs={"uid": uid, "token": default_token_generator.make_token(user)})


def user_of_link(uid: str, token: str) -> User | None:
    """Return the active account that a link is for, or None if the link no longer holds."""
    try:
        pk = int(urlsafe_base64_decode(uid).decode())
    except (ValueError, OverflowError):
        return None
    user = User.objects.filter(pk=pk, is_active=True).first()
    return user if user is not None and default_token_generator.check_token(user, token) else None
