"""Turns one page of ours into a PDF, in a process of its own: HTML on standard input, PDF on standard output.

The library needs much memory and must not fetch anything: only pictures and fonts within the page are allowed.
"""

from __future__ import annotations

import hashlib
import sys
from typing import Any


def pressed(html: str) -> bytes:
    """Return the PDF of a page, tagged for screen readers (PDF/UA-1); the same page gives the same bytes.

    Errors: FatalURLFetchingError for anything that lies outside the page.
    """
    from weasyprint import HTML  # noqa: PLC0415  # tens of megabytes, needed in this process only
    from weasyprint.urls import FatalURLFetchingError, URLFetcher  # noqa: PLC0415  # as above

    class Within(URLFetcher):  # type: ignore[misc]  # the library has no types
        """Fetches nothing but what the page carries."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            """Return the data of an address within the page. Errors: FatalURLFetchingError for any other."""
            if not url.startswith(("data:image/svg+xml;base64,", "data:font/ttf;base64,")):
                raise FatalURLFetchingError(f"A page may not fetch {url[:60]}.")
            return super().fetch(url, headers)

    identifier = hashlib.sha256(html.encode()).digest()[:16]
    page = HTML(string=html, url_fetcher=Within(allowed_protocols=["data"]))
    pdf: bytes = page.write_pdf(pdf_variant="pdf/ua-1", pdf_identifier=identifier)
    return pdf


if __name__ == "__main__":
    sys.stdout.buffer.write(pressed(sys.stdin.buffer.read().decode()))
