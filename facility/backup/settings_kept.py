"""The settings that go into a backup, as an allow-list: what may hold a secret never does."""

from __future__ import annotations

import json
import os
from typing import Final

KEPT: Final = (
    "DEEPSTEAD_PORT", "DEEPSTEAD_WEB_WORKERS", "DEEPSTEAD_HOSTS", "DEEPSTEAD_ORIGINS", "DEEPSTEAD_TLS", "DEEPSTEAD_TRUST_PROXY",
    "DEEPSTEAD_LOGIN_TRIES", "DEEPSTEAD_BACKUP_COPY",
)  # fmt: skip


def settings_text() -> str:
    """Return the settings of this installation without secrets, as JSON."""
    return json.dumps({name: os.environ[name] for name in KEPT if name in os.environ}, indent=1, sort_keys=True)


def as_environment(text: bytes) -> str:
    """Return stored settings as lines of an environment file."""
    return "".join(f"{name}={value}\n" for name, value in json.loads(text).items() if name in KEPT)
