"""Widths of letters, as a second validator and the font itself have them."""

from __future__ import annotations

import io

import pikepdf
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from facility.papers.printing import STYLE, pressed
from facility.report.sealing_check import faults_of

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ abcdefghijklmnopqrstuvwxyz 0123456789"


def test_letters_that_first_stand_in_an_unseen_caption_have_the_width_of_the_font() -> None:
    """ISO 19005-3, 6.2.11.5: a width told and a width in the font differ by no more than a thousandth."""
    page = (
        '<!DOCTYPE html><html lang="en"><head><title>Small</title></head><body>'
        f'<h1 data-foot="f" data-page-word="page">1</h1><table><caption class="vh">{LETTERS}</caption>'
        "<thead><tr><th scope='col'>1</th></tr></thead><tbody><tr><td>2</td></tr></tbody></table></body></html>"
    )
    pdf = pressed(page, STYLE)
    assert faults_of(pdf) == []
    with pikepdf.open(io.BytesIO(pdf)) as document:
        told = [one for one in document.objects if isinstance(one, pikepdf.Dictionary) and "/W" in one]
        assert told
        for font in told:
            drawn = TTFont(io.BytesIO(font.FontDescriptor.FontFile2.read_bytes()))
            order = drawn.getGlyphOrder()
            for first, widths in zip(list(font.W)[::2], list(font.W)[1::2], strict=True):
                for place, width in enumerate(widths):
                    assert abs(float(width) - drawn["hmtx"].metrics[order[int(first) + place]][0]) <= 1
