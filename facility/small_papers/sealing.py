"""The seal of a small paper, set in a process of its own: what signing needs of memory ends with it.

Run as a module: JSON with "pdf" (base64), "key", "certificate" and "name" on standard input, the sealed PDF on
standard output. The key goes through the pipe alone, never into the command or the surroundings of the process.
"""

from __future__ import annotations

import base64
import json
import subprocess
import sys
from typing import TYPE_CHECKING

from facility.papers.printing import LONGEST_S, ROOT, PrintingError
from facility.report import seal
from facility.report.sealing_check import NotPublishedError

if TYPE_CHECKING:
    from facility.trust.keys import SealMaterial

NOT_PUBLISHED = 3


def sealed(pdf: bytes, material: SealMaterial, name: str) -> bytes:
    """Return a PDF with the seal of this box.

    Errors: NotPublishedError if the PDF or its sealed form breaks PDF/A-3a or PDF/UA-1; PrintingError if the process
    ends otherwise than well.
    """
    job = {
        "pdf": base64.b64encode(pdf).decode(), "key": material.key_pem.decode(),
        "certificate": material.certificate_pem.decode(), "name": name,
    }  # fmt: skip
    try:
        done = subprocess.run(  # this program's own module, nothing of the request in the command
            [sys.executable, "-m", "facility.small_papers.sealing"], input=json.dumps(job).encode(),
            capture_output=True, timeout=LONGEST_S, cwd=ROOT, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise PrintingError(f"The seal was not set after {LONGEST_S} s.") from None
    said = done.stderr.decode(errors="replace").strip()
    if done.returncode == NOT_PUBLISHED:
        raise NotPublishedError(said)
    if done.returncode != 0 or not done.stdout.startswith(b"%PDF"):
        raise PrintingError(said.splitlines()[-1] if said else "no output")
    return done.stdout


def main() -> int:
    """Seal what comes in; return 3 with the reason on standard error if it may not be published."""
    job = json.load(sys.stdin)
    pdf = base64.b64decode(job["pdf"])
    try:
        made = seal.sealed(pdf, job["key"].encode(), job["certificate"].encode(), job["name"])
    except NotPublishedError as error:
        sys.stderr.write(str(error))
        return NOT_PUBLISHED
    sys.stdout.buffer.write(made)
    return 0


if __name__ == "__main__":
    sys.exit(main())
