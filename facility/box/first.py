"""Who may see to the box itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied

if TYPE_CHECKING:
    from facility.http import StaffRequest


def first_account(request: StaffRequest) -> None:
    """Refuse anybody but a first account: the box belongs to no single site.

    Errors: PermissionDenied.
    """
    if not request.user.is_superuser:
        raise PermissionDenied
