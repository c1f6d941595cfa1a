"""The settings that go into a backup, as an allow-list: what may hold a secret never does."""

from __future__ import annotations

import json
import os
from typing import Final

KEPT: Final = (
    "DEEPSTEAD_ADDRESS", "DEEPSTEAD_BACKUP_COPY", "DEEPSTEAD_CHECKPOINT_MAIL", "DEEPSTEAD_DISK_LEAST_MIB",
    "DEEPSTEAD_EMAIL_HOST", "DEEPSTEAD_EMAIL_PORT", "DEEPSTEAD_EMAIL_SECURITY", "DEEPSTEAD_EMAIL_SENDER",
    "DEEPSTEAD_EMAIL_USER", "DEEPSTEAD_HEADER_FROM", "DEEPSTEAD_HEADER_USER", "DEEPSTEAD_HEARTBEAT_MIN",
    "DEEPSTEAD_HOSTS", "DEEPSTEAD_IDLE_MIN", "DEEPSTEAD_LOGIN_TRIES", "DEEPSTEAD_LOG_FORMAT", "DEEPSTEAD_LOG_REQUESTS",
    "DEEPSTEAD_NOTICE_LOCAL_ALLOWED", "DEEPSTEAD_OIDC_CLAIM", "DEEPSTEAD_OIDC_CLIENT", "DEEPSTEAD_OIDC_ISSUER",
    "DEEPSTEAD_ORIGINS", "DEEPSTEAD_PORT", "DEEPSTEAD_QUEUE", "DEEPSTEAD_TLS", "DEEPSTEAD_TRUST_PROXY",
    "DEEPSTEAD_TRUSTED_PROXIES", "DEEPSTEAD_WEB_WORKERS",
)  # fmt: skip
#: may hold a secret: only that it was set is kept, so that whoever puts the backup back knows what to set again
NAMED_ONLY: Final = (
    "DEEPSTEAD_API_TOKEN", "DEEPSTEAD_BACKUP_COMMAND", "DEEPSTEAD_BROKER_URL", "DEEPSTEAD_EMAIL_PASSWORD",
    "DEEPSTEAD_HEARTBEAT_URL", "DEEPSTEAD_METRICS_TOKEN", "DEEPSTEAD_OIDC_SECRET",
)  # fmt: skip


def settings_text() -> str:
    """Return the settings of this installation without secrets, as JSON; null for what is only named."""
    kept: dict[str, str | None] = {name: os.environ[name] for name in KEPT if name in os.environ}
    named = [name for name in NAMED_ONLY if os.environ.get(name) or os.environ.get(f"{name}_FILE")]
    return json.dumps(kept | dict.fromkeys(named), indent=1, sort_keys=True)


def as_environment(text: bytes) -> str:
    """Return stored settings as lines of an environment file."""
    lines = []
    for name, value in json.loads(text).items():
        if name in KEPT:
            lines.append(f"{name}={value}\n")
        elif name in NAMED_ONLY:
            lines.append(f"#{name}=  # was set; what may hold a secret is in no backup: set it again\n")
    return "".join(lines)
