"""The marks of states as pictures within a paper: the same drawings as on the pages, black on white."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import facility
from facility.report.drawing import address_of

SPRITE = Path(facility.__file__).parent / "static" / "facility" / "marks.svg"
SYMBOL = re.compile(r'<symbol id="([a-z]+)" viewBox="([0-9 ]+)">(.*?)</symbol>', re.DOTALL)
ON_PAPER = {"currentColor": "#000", "var(--sheet, #fff)": "#fff"}


@lru_cache(maxsize=1)
def addresses() -> dict[str, str]:
    """Return every mark by its name, as an address within a page."""
    found = SYMBOL.findall(SPRITE.read_text(encoding="utf-8"))
    return {name: address_of(_drawn(box, shape)) for name, box, shape in found}


def _drawn(box: str, shape: str) -> str:
    for screen, paper in ON_PAPER.items():
        shape = shape.replace(screen, paper)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="24" height="24">{shape}</svg>'
