"""Numbers in the text format that Prometheus reads, version 0.0.4 (prometheus.io/docs/instrumenting/exposition_formats)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Gauge:
    """One measure with its samples: labels and value."""

    name: str
    help: str
    samples: list[tuple[dict[str, str], float]] = field(default_factory=list)

    def add(self, value: float, **labels: str) -> None:
        """Add a sample."""
        self.samples.append((labels, value))


def escaped(text: str) -> str:
    r"""Return a label's value as the format writes it.

    >>> escaped('a "b" \\ c')
    'a \\"b\\" \\\\ c'
    """
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')


def written(gauges: Iterable[Gauge]) -> str:
    """Return the whole text; a measure without samples is left out."""
    lines: list[str] = []
    for gauge in gauges:
        if gauge.samples:
            lines += [f"# HELP {gauge.name} {gauge.help}", f"# TYPE {gauge.name} gauge"]
        lines += [f"{gauge.name}{_labels(labels)} {value!r}" for labels, value in gauge.samples]
    return "\n".join(lines) + "\n"


def _labels(labels: dict[str, str]) -> str:
    inner = ",".join(f'{name}="{escaped(value)}"' for name, value in labels.items())
    return f"{{{inner}}}" if inner else ""
