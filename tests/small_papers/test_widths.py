"""Widths of letters, as a second validator and the font itself have them, and what stands where a page ends."""

from __future__ import annotations

import io

import pikepdf
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from facility.papers.printing import STYLE, pressed
from facility.report.sealing_check import faults_of
from tests.treatments.after.pdf_text import pages_of

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


def test_no_heading_and_no_caption_stands_alone_at_the_end_of_a_page() -> None:
    """Typographers' common rule; tried at every height of a page's end at which one line fits and not the next."""
    parts = [
        f'<div style="break-before: page; height: {height}mm"></div><h3>Head {height}</h3><table>'
        f'<caption class="{seen}">Caption {height}</caption><thead><tr><th scope="col">Name</th></tr></thead>'
        f"<tbody><tr><th scope='row'>Row {height}</th></tr></tbody></table>"
        for height, seen in zip(range(232, 262, 2), ("vh", "seen") * 8, strict=False)
    ]
    page = '<!DOCTYPE html><html lang="en"><head><title>Ends</title></head><body><h1 data-foot="f" data-page-word="page">1</h1>'
    pages = [" ".join(text.split()) for text in pages_of(pressed(page + "".join(parts) + "</body></html>", STYLE))]
    for height in range(232, 262, 2):
        (beside,) = (text for text in pages if f"Head {height}" in text)
        assert f"Row {height}" in beside
