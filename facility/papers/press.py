"""Turns one HTML text into a PDF, in a process of its own: what the page-maker needs of memory ends with it.

Run as a module: JSON with "html", "css", "font" and "language" on standard input, the PDF on standard output.
Nothing is fetched but the font and pictures that lie inside the HTML. Knows neither Django nor records.
"""

from __future__ import annotations

import hashlib
import io
import json
import sys
from pathlib import Path
from typing import Any

FONT_URL = "font:plex"
UA = "http://www.aiim.org/pdfua/ns/id/"
#: PDF/A asks that a property outside its own list is described where it stands
SCHEMA = """<rdf:Description xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" rdf:about=""
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource"><pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI><pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource"><pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType><pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289</pdfaProperty:description></rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas><pdfuaid:part>1</pdfuaid:part></rdf:Description>"""


def press(job: dict[str, Any]) -> bytes:
    """Return the PDF, tagged, by PDF/A-3a and PDF/UA-1; the same job gives the same bytes. Errors: FileNotFoundError for the font; whatever the page-maker raises."""
    from weasyprint import CSS, HTML  # noqa: PLC0415  # tens of megabytes, only in this process
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415
    from weasyprint.urls import FatalURLFetchingError, URLFetcher  # noqa: PLC0415

    font = Path(job["font"])
    if not font.is_file():
        raise FileNotFoundError(f"{font.name}, the font of papers, is missing.")

    class OnlyInside(URLFetcher):  # type: ignore[misc]  # ships no types
        """Refuses whatever is neither the font nor a picture inside the HTML."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            if url.startswith("data:image/"):
                return super().fetch(url, headers)
            if url == font.as_uri():
                return super().fetch(url, headers)
            raise FatalURLFetchingError(f"{url[:60]} is not taken into a paper.")

    fonts = FontConfiguration()
    fetcher = OnlyInside(allowed_protocols={"data", "file"})
    sheet = CSS(string=job["css"].replace(FONT_URL, font.as_uri()), font_config=fonts, url_fetcher=fetcher)
    document = HTML(string=job["html"], url_fetcher=fetcher)
    identifier = hashlib.sha256((job["html"] + job["css"]).encode()).digest()[:16]
    made: bytes = document.write_pdf(
        stylesheets=[sheet], font_config=fonts, pdf_variant="pdf/a-3a", pdf_identifier=identifier
    )
    return _for_every_reader(made)


def _for_every_reader(made: bytes) -> bytes:
    """Say in the metadata that the document is made by PDF/UA-1 too, described as PDF/A asks."""
    import pikepdf  # noqa: PLC0415  # only in this process

    target = io.BytesIO()
    with pikepdf.open(io.BytesIO(made)) as document:
        stream = document.Root.Metadata
        text = bytes(stream.read_bytes()).decode()
        text = text.replace("</rdf:RDF>", SCHEMA + "</rdf:RDF>", 1)
        document.Root.Metadata = pikepdf.Stream(
            document, text.encode(), Type=pikepdf.Name.Metadata, Subtype=pikepdf.Name.XML
        )
        document.save(target, compress_streams=False, deterministic_id=True)
    return target.getvalue()


if __name__ == "__main__":
    sys.stdout.buffer.write(press(json.load(sys.stdin)))
