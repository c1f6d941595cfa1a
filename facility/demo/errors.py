"""Why the demo cannot be loaded."""

from __future__ import annotations


class DemoError(ValueError):
    """The demo cannot be loaded; the text says why and what to do."""
