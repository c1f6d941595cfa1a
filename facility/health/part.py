"""One part that this box rests on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Part:
    """One part: whether it is well, what was measured, and what to do if it is not.

    ``soon``: it is well still, and needs somebody; the advice is told, and the box is ready.
    """

    ok: bool
    measured: dict[str, float | None]
    advice: str = ""
    soon: bool = False

    def plain(self) -> dict[str, object]:
        """Return it as JSON values; advice only where it is needed."""
        shape: dict[str, object] = {"ok": self.ok, **self.measured}
        return shape if self.ok and not self.soon else shape | {"advice": self.advice}
