"""Presses: processes of their own that make one paper after another. Each is replaced before it holds too much."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Timer
from typing import IO, TYPE_CHECKING, Any, Final

from facility.papers.printing import LONGEST_S, ROOT, PrintingError, font_file

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

AT_ONCE: Final = 2
#: a press that has held this much takes no further paper; the next one could go beyond MOST_MB
REPLACED_FROM_MB: Final = 150
MOST_MB: Final = 256


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is to be pressed."""

    html: str
    css: str


@dataclass(frozen=True, slots=True)
class Pressed:
    """A paper, how many pages it has, and the most that its press has held so far."""

    pdf: bytes
    pages: int
    peak_mb: int


class Press:
    """One process. Not for two threads at once."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._font = str(font_file())

    def press(self, sheet: Sheet) -> Pressed:
        """Return the paper. Errors: PrintingError with what the process said, or that it took too long."""
        process = self._process or self._start()
        job = {"html": sheet.html, "css": sheet.css, "font": self._font}
        timer = Timer(LONGEST_S, process.kill)
        timer.start()
        try:
            told, pdf = _asked(process, json.dumps(job).encode() + b"\n")
        except OSError as error:
            raise PrintingError(str(error)) from None
        finally:
            timer.cancel()
            if process.poll() is not None:
                self.close()
        if "error" in told:
            raise PrintingError(told["error"])
        if told["peak_mb"] >= REPLACED_FROM_MB:
            self.close()
        return Pressed(pdf, told["pages"], told["peak_mb"])

    def close(self) -> None:
        """End the process."""
        process, self._process = self._process, None
        if process is None:
            return
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                _shut(stream)
        process.wait()

    def _start(self) -> subprocess.Popen[bytes]:
        self._process = subprocess.Popen(  # this program's own module, nothing of the request in the command
            [sys.executable, "-m", "facility.papers.press", "many"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, cwd=ROOT, env={**os.environ, "SOURCE_DATE_EPOCH": "0"},
        )  # fmt: skip
        return self._process


def _shut(stream: IO[bytes]) -> None:
    try:
        stream.close()
    except BrokenPipeError:  # it has ended already
        return


def _asked(process: subprocess.Popen[bytes], line: bytes) -> tuple[dict[str, Any], bytes]:
    """Send one job; return what the process told of it, and the paper."""
    given, taken = process.stdin, process.stdout
    if given is None or taken is None:
        raise OSError("The press has no ends to speak to.")
    given.write(line)
    given.flush()
    head = taken.readline()
    if not head:
        process.wait()
        raise OSError(f"The press ended before the paper was ready, or it took more than {LONGEST_S} s.")
    told: dict[str, Any] = json.loads(head)
    return told, taken.read(told.get("size", 0))


def press_all(
    sheets: Sequence[Sheet], *, at_once: int = AT_ONCE, tell: Callable[[int], object] = lambda done: None
) -> Iterator[Pressed]:
    """Yield the papers in the order of their sheets, ``at_once`` of them under way at a time.

    Errors: PrintingError of the first that cannot be made.
    """
    if not sheets:
        return
    idle: SimpleQueue[Press] = SimpleQueue()
    presses = [Press() for _number in range(min(at_once, len(sheets)))]
    for one in presses:
        idle.put(one)

    def made(sheet: Sheet) -> Pressed:
        press = idle.get()
        try:
            return press.press(sheet)
        finally:
            idle.put(press)

    with ThreadPoolExecutor(len(presses)) as threads:
        waiting = [threads.submit(made, sheet) for sheet in sheets]
        try:
            for number, asked in enumerate(waiting, 1):
                yield asked.result()
                tell(number)
        finally:
            for asked in waiting:
                asked.cancel()
    for press in presses:
        press.close()
