"""What stops a backup or a restore, always as a sentence that says what to do."""

from __future__ import annotations


class BackupError(ValueError):
    """A backup cannot be made, read or put back; the text names what is wrong and what to do."""
