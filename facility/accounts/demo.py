"""The demo's accounts as the sign-in page shows them."""

from __future__ import annotations

from dataclasses import dataclass

from facility.models import SiteRole

#: one password for all demo accounts; they exist only in a folder marked as demo data
DEMO_PASSWORD = "skerrow demo"  # noqa: S105  # shown on the demo's sign-in page on purpose


@dataclass(frozen=True, slots=True)
class SignIn:
    """One demo account."""

    username: str
    role: str
    password: str


def demo_sign_ins() -> tuple[SignIn, ...]:
    """Return one account for each role, the supervisor first."""
    return tuple(SignIn(role.value, str(role.label), DEMO_PASSWORD) for role in SiteRole)
