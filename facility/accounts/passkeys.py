"""Passkeys by W3C Web Authentication. They need HTTPS and a name that stays: without TLS they are not offered."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility import events
from facility.accounts import factors
from facility.models import FactorSort, SecondFactor, User

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest
    from fido2.server import Fido2Server
    from fido2.webauthn import AttestedCredentialData

    from facility.events import Actor

STATE = "passkey_state"


def offered(request: HttpRequest) -> bool:
    """Return whether this browser may keep a passkey for this box."""
    return bool(settings.BEHIND_TLS) and request.is_secure()


def _server(request: HttpRequest) -> Fido2Server:
    from fido2.server import Fido2Server  # noqa: PLC0415  # megabytes, needed only here
    from fido2.webauthn import PublicKeyCredentialRpEntity  # noqa: PLC0415  # as above

    host = request.get_host().partition(":")[0]
    return Fido2Server(PublicKeyCredentialRpEntity(name="Deepstead", id=host))


def _stored(user: User) -> list[tuple[SecondFactor, AttestedCredentialData]]:
    from fido2.webauthn import AttestedCredentialData  # noqa: PLC0415  # megabytes, needed only here

    rows = SecondFactor.objects.filter(user=user, sort=FactorSort.PASSKEY, retired_at=None)
    return [(row, AttestedCredentialData(base64.b64decode(factors.opened(row)))) for row in rows]


def begin_adding(request: HttpRequest, user: User) -> dict[str, Any]:
    """Return what the browser needs to make a passkey; the question is kept in the session."""
    from fido2.webauthn import PublicKeyCredentialUserEntity  # noqa: PLC0415  # megabytes, needed only here

    person = PublicKeyCredentialUserEntity(id=str(user.pk).encode(), name=user.username, display_name=str(user))
    options, state = _server(request).register_begin(person, [credential for _row, credential in _stored(user)])
    request.session[STATE] = state
    return dict(options)


def finish_adding(request: HttpRequest, user: User, answer: Mapping[str, Any], name: str, *, by: Actor) -> SecondFactor:
    """Store a passkey that answers the question of this session.

    Errors: ValidationError if it answers another one, or is none.
    """
    try:
        made = _server(request).register_complete(request.session.pop(STATE, None) or {}, answer)
    except (ValueError, KeyError, TypeError) as error:
        raise ValidationError(_("The browser did not answer this question. Try again.")) from error
    credential = made.credential_data
    if credential is None:
        raise ValidationError(_("The browser sent no passkey. Try again, or use a code generator."))
    content = base64.b64encode(bytes(credential)).decode()
    return factors.keep(user, FactorSort.PASSKEY, name or str(_("passkey")), content, by=by)


def begin_asking(request: HttpRequest, user: User) -> dict[str, Any]:
    """Return what the browser needs to show a passkey; nothing if the account has none."""
    credentials = [credential for _row, credential in _stored(user)]
    if not credentials:
        return {}
    options, state = _server(request).authenticate_begin(credentials)
    request.session[STATE] = state
    return dict(options)


def shown(request: HttpRequest, user: User, answer: Mapping[str, Any]) -> bool:
    """Return whether the browser's answer proves a passkey of the account."""
    stored = _stored(user)
    try:
        found = _server(request).authenticate_complete(
            request.session.pop(STATE, None) or {}, [credential for _row, credential in stored], answer
        )
    except (ValueError, KeyError, TypeError):
        return False
    for row, credential in stored:
        if credential.credential_id == found.credential_id:
            SecondFactor.objects.filter(pk=row.pk).update(used_at=events.now())
    return True
