"""Turns one HTML text into a PDF, in a process of its own: what the page-maker needs of memory ends with it.

Run as a module: JSON with "html", "css" and "font" on standard input, the PDF on standard output. With "many" as its
argument it takes such a JSON a line, and answers each with a line of JSON ("size", "pages", "peak_mb", or "error")
and the PDF of that size.
Nothing is fetched but the font and pictures that lie inside the HTML. Knows neither Django nor records.
"""

from __future__ import annotations

import gc
import hashlib
import json
import os
import resource
import sys
from functools import partial
from pathlib import Path
from typing import Any

from facility.papers.widths import true_widths

FONT_URL = "font:plex"
UNCLEAR_END = b"\r\nendstream"
MOST_TRIES = 8
#: a page that somebody looks at goes before a report that is being pressed
NICE = 10
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
    """Return the PDF alone. Errors: as of ``counted``."""
    return counted(job)[0]


def counted(job: dict[str, Any]) -> tuple[bytes, int]:
    """Return the PDF and its number of pages, tagged, by PDF/A-3a and PDF/UA-1; the same job gives the same bytes. Errors: FileNotFoundError for the font; whatever the page-maker raises."""
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
    options = {"pdf_variant": "pdf/a-3a", "pdf_identifier": identifier}
    laid_out = document.render(stylesheets=[sheet], font_config=fonts, **options)
    made: bytes = b""
    for room in range(MOST_TRIES):
        made = laid_out.write_pdf(finisher=partial(_finish, room), **options)
        if UNCLEAR_END not in made:
            break
    return made, len(laid_out.pages)


def _finish(room: int, _document: Any, pdf: Any) -> None:
    """Finish a document. ``room``: blanks put in where the tables packed last would end unclearly without them."""
    true_widths(pdf)
    _for_every_reader(pdf)
    _end_clearly(pdf)
    if room:
        pdf.info["Room"] = f"({'-' * room})"


def _for_every_reader(pdf: Any) -> None:
    """Say in the metadata that the document is made by PDF/UA-1 too, described as PDF/A asks, and leave them readable.

    Done before the document is written: a second writer would have to keep every length as PDF/A asks.
    """
    number = int(pdf.catalog["Metadata"].split()[0])
    stream = pdf.objects[number]
    text = b"".join(stream.stream)
    stream.stream = [text.replace(b"</rdf:RDF>", SCHEMA.encode() + b"</rdf:RDF>", 1)]
    stream.compress = False


def _end_clearly(pdf: Any) -> None:
    """Leave streams as they are whose packed bytes end in a carriage return.

    With the line feed that follows they would end in what some readers take for one end of line, and count a byte less.
    """
    for one in pdf.objects:
        if getattr(one, "compress", False) and _ends_unclearly(one):
            one.compress = False


def _ends_unclearly(stream: Any) -> bool:
    return bool(stream.data.rpartition(b"\nendstream")[0].endswith(b"\r"))


def serve() -> None:
    """Make one paper a line until standard input ends. What cannot be made is told; the next one is taken."""
    import weasyprint  # noqa: F401, PLC0415  # only in this process

    os.nice(NICE)
    gc.collect()
    gc.freeze()  # what is loaded stays: looking through it after each paper would only take time
    for line in sys.stdin.buffer:
        told, pdf = _tried(json.loads(line))
        sys.stdout.buffer.write(json.dumps(told).encode() + b"\n" + pdf)
        sys.stdout.buffer.flush()


def _tried(job: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    try:
        pdf, pages = counted(job)
    except BaseException as error:  # a forbidden address is refused by one that is no Exception
        return {"error": f"{type(error).__name__}: {error}"[:500]}, b""
    gc.collect()
    return {
        "size": len(pdf),
        "pages": pages,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    }, pdf


if __name__ == "__main__":
    if sys.argv[1:] == ["many"]:
        serve()
    else:
        sys.stdout.buffer.write(press(json.load(sys.stdin)))
