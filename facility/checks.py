"""System checks: what an operator should know before trusting this installation. Registered by importing it."""

from __future__ import annotations

import ctypes
import os
import sys
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register  # noqa: A004 - Django's own name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.apps import AppConfig

LIBRARIES = ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libfontconfig.so.1")
FONTS = "fontpkg_ibm_plex_sans"
#: as `manage.py lan_certificate` leaves it in the data folder
LAN_CERTIFICATE = "lan/server.pem"
LAN_WARNING = timedelta(days=30)


@register(Tags.files)
def check_data_folder(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report a data folder that is missing or cannot be written."""
    folder = settings.DATA_DIR
    if folder.is_dir() and os.access(folder, os.W_OK | os.X_OK):
        return []
    return [
        Error(
            f"The data folder {folder} is missing or cannot be written.",
            hint="Give this user the right to write there, or name another folder in DEEPSTEAD_DATA.",
            id="facility.E001",
        )
    ]


@register()
def check_pdf_libraries(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report native libraries without which no PDF page can be made."""
    missing = [name for name in LIBRARIES if not _loads(name)] if sys.platform == "linux" else []
    if not missing:
        return []
    return [
        Warning(
            f"PDF pages cannot be made: {', '.join(missing)} missing. Everything else works.",
            hint=(
                "As root on Debian: apt-get install -y --no-install-recommends"
                " libpango-1.0-0 libpangoft2-1.0-0 libfontconfig1"
            ),
            id="facility.W001",
        )
    ]


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


@register()
def check_fonts(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report a missing font package: pages then use whatever font the machine has."""
    if find_spec(FONTS) is not None:
        return []
    return [
        Warning(
            f"The font package {FONTS} is not installed; pages and PDF use another font.",
            hint="Install requirements.txt again: python3 manage.py up --no-serve",
            id="facility.W002",
        )
    ]


def lan_certificate_end() -> datetime | None:
    """Return when the certificate for the local network ends; None without one, or if it cannot be read."""
    path = settings.DATA_DIR / LAN_CERTIFICATE
    if not path.is_file():
        return None
    from cryptography import x509  # noqa: PLC0415  # megabytes, needed only where there is a certificate

    try:
        return x509.load_pem_x509_certificate(path.read_bytes()).not_valid_after_utc
    except (OSError, ValueError):
        return None


@register(Tags.security)
def check_lan_certificate(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report a certificate for the local network that ends soon: browsers then refuse the box."""
    end = lan_certificate_end()
    if end is None or end - datetime.now(UTC) > LAN_WARNING:
        return []
    return [
        Warning(
            f"The certificate of the local network {'has ended' if end < datetime.now(UTC) else 'ends'} on {end:%Y-%m-%d}.",
            hint="Run manage.py lan_certificate again with the same names, and let the reverse proxy read it anew.",
            id="facility.W004",
        )
    ]


@register(Tags.security, deploy=True)
def check_hosts(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report that any host name is answered, which is right in a closed network only."""
    if "*" not in settings.ALLOWED_HOSTS:
        return []
    return [
        Warning(
            "The server answers to every host name.",
            hint="Name the server's own names and addresses in DEEPSTEAD_HOSTS, separated by commas.",
            id="facility.W003",
        )
    ]


@register(Tags.security)
def check_mail(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report what would keep messages from leaving, or from being of use."""
    found: list[CheckMessage] = []
    is_clear = not (settings.EMAIL_USE_TLS or settings.EMAIL_USE_SSL)
    if settings.EMAIL_HOST and settings.EMAIL_HOST_PASSWORD and is_clear:
        found.append(
            Warning(
                "The password of the mail server goes over the line in the clear.",
                hint="Set DEEPSTEAD_EMAIL_SECURITY to starttls or tls.",
                id="facility.W015",
            )
        )
    if settings.EMAIL_HOST and not settings.OWN_ADDRESS:
        found.append(
            Warning(
                "Links in notices have no host: whoever reads one elsewhere cannot follow it.",
                hint="Name the box's own address in DEEPSTEAD_ADDRESS, such as https://box.example.org",
                id="facility.W016",
            )
        )
    if settings.CHECKPOINT_MAIL and not settings.EMAIL_HOST:
        found.append(
            Warning(
                "The signed head of the log is to be mailed, but no mail server is named.",
                hint="Name one in DEEPSTEAD_EMAIL_HOST.",
                id="facility.W017",
            )
        )
    return found


@register(Tags.security)
def check_provider(app_configs: Sequence[AppConfig] | None, **_rest: object) -> list[CheckMessage]:
    """Report a provider of OpenID Connect that could let nobody in, or is asked in the clear.

    Source: OpenID Connect Discovery 1.0, section 3: the issuer is a URL with the scheme https.
    """
    if not settings.OIDC_ISSUER:
        return []
    found: list[CheckMessage] = []
    if not settings.OIDC_ISSUER.startswith("https://"):
        found.append(
            Warning(
                f"The provider of OpenID Connect is no https address: {settings.OIDC_ISSUER}",
                hint="Name its issuer in DEEPSTEAD_OIDC_ISSUER as https://name. The password door stays open.",
                id="facility.W018",
            )
        )
    lacking = [name for name in ("OIDC_CLIENT", "OIDC_SECRET") if not getattr(settings, name)]
    if lacking:
        found.append(
            Warning(
                "A provider of OpenID Connect is named, but it can let nobody in.",
                hint=f"Set {', '.join(f'DEEPSTEAD_{name}' for name in lacking)} as the provider gave it for this box.",
                id="facility.W019",
            )
        )
    return found
