"""Colours of the three modes by the contrast formula of WCAG 2.2, written out here again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

STYLES = Path(__file__).parents[3] / "facility" / "static" / "facility"
TEXT, SHAPE = 4.5, 3.0  # WCAG 2.2, success criteria 1.4.3 and 1.4.11
WORDS = ("ink", "ink-2", "brine", "ready", "limits", "stop", "unknown")


def modes() -> dict[str, dict[str, str]]:
    """Return the colours by mode; dim and night override day."""
    text = (STYLES / "tokens.css").read_text(encoding="utf-8")
    found: dict[str, dict[str, str]] = {}
    for mode, head in (
        ("day", r":root \{"),
        ("dim", r'\[data-mode="dim"\] \{'),
        ("night", r'\[data-mode="night"\] \{'),
    ):
        block = re.search(rf"^{head}(.*?)^\}}", text, re.DOTALL | re.MULTILINE)
        assert block is not None
        found[mode] = dict(re.findall(r"--([\w-]+):\s*(#[0-9A-Fa-f]{6})", block[1]))
    return {mode: found["day"] | colours for mode, colours in found.items()}


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_ends_that_the_standard_names() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # well-known pair just below 4.5


@pytest.mark.parametrize("mode", ["day", "dim", "night"])
@pytest.mark.parametrize("ground", ["sheet", "well", "wash"])
def test_words_and_shapes_are_legible_on_every_ground(mode: str, ground: str) -> None:
    colours = modes()[mode]
    for name in WORDS:
        assert contrast(colours[name], colours[ground]) >= TEXT, (name, mode, ground)
    assert contrast(colours["edge"], colours[ground]) >= SHAPE
    assert contrast(colours["focus"], colours[ground]) >= SHAPE


@pytest.mark.parametrize("mode", ["day", "dim", "night"])
def test_the_filled_button_is_legible(mode: str) -> None:
    colours = modes()[mode]
    assert contrast(colours["on-brine"], colours["brine"]) >= TEXT


def test_red_light_tells_states_apart_by_word_and_shape_alone() -> None:
    night = modes()["night"]
    assert len({night[name] for name in ("ready", "limits", "stop", "unknown")}) == 1


def test_style_sheets_fetch_nothing_from_elsewhere() -> None:
    for sheet in STYLES.glob("*.css"):
        for address in re.findall(r"url\(\s*[\"']?([^\"')]+)", sheet.read_text(encoding="utf-8")):
            assert not re.match(r"(https?:)?//", address), (sheet.name, address)
