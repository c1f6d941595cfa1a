"""System checks: what an operator should know before trusting this installation. Registered by importing it."""

from __future__ import annotations

import ctypes
import os
import sys
from importlib.util import find_spec
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register  # noqa: A004 - Django's own name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.apps import AppConfig

LIBRARIES = ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libfontconfig.so.1")
FONTS = "fontpkg_ibm_plex_sans"


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
