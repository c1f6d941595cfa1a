"""What a paper says, read by a program that did not make it."""

from __future__ import annotations

import io
from typing import Any

import pikepdf
from django.test import Client

from tests.pack.pdf_text import _page

BACKEND = "django.contrib.auth.backends.ModelBackend"


def text_of(pdf: bytes) -> str:
    """Return the text of all pages, blanks taken together."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return " ".join(" ".join(_page(page) for page in document.pages).split())


def sizes_of(pdf: bytes) -> set[tuple[int, int]]:
    """Return width and height of the pages, in whole points."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return {(round(float(page.mediabox[2])), round(float(page.mediabox[3]))) for page in document.pages}


def signed_in(user: Any) -> Client:
    """Return a browser in which somebody is signed in."""
    client = Client()
    client.force_login(user, backend=BACKEND)
    return client
