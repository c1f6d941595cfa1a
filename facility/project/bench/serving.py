"""How quickly a set-up installation answers, and how much memory it holds when idle.

Limits: design goals of this project; common practice, no source.
"""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import closing, contextmanager, suppress
from http.cookiejar import CookieJar
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode, urlsplit
from urllib.request import HTTPCookieProcessor, build_opener

from django.conf import settings
from django.urls import reverse

from facility.accounts.demo import demo_sign_ins
from facility.project.bench.result import Result

if TYPE_CHECKING:
    from collections.abc import Iterator
    from urllib.request import OpenerDirector

ROOT = Path(__file__).resolve().parent.parent.parent.parent
START_LIMIT_SECONDS = 3.0
MEMORY_LIMIT_MB = 150.0
SETTLE_SECONDS = 5.0
IDLE_WITHIN_SECONDS = 300.0
"""Within this time the first start has done what was due: a backup, its trial, the volumes of past months."""
BUSY = ("--lane long", "manage.py restore", "papers.press")
"""What stands in the command line of a process that is there only while a job of minutes runs."""


def second_start() -> Result:
    """Measure from the command of a repeated ``up`` to the first answer, set-up check included."""
    with tempfile.TemporaryDirectory() as folder:
        _up(folder, "--no-serve")
        started = time.monotonic()
        with serving(folder):
            seconds = time.monotonic() - started
    return Result("second up to first answer", seconds, START_LIMIT_SECONDS, "s")


def idle_memory() -> Result:
    """Add up the proportional set size of every process of an idle server that somebody signed in to and looked at."""
    with tempfile.TemporaryDirectory() as folder, serving(folder, "--demo") as (root, port):
        look_round(port)
        _until_idle(root)
        sizes = [_pss_kb(pid) for pid in _tree(root)]
    return Result("idle memory of the tree", sum(sizes) / 1024, MEMORY_LIMIT_MB, "MB", f"{len(sizes)} processes")


def _until_idle(root: int) -> None:
    """Wait until no job of minutes has run for a while. Errors: TimeoutError."""
    last = time.monotonic() + IDLE_WITHIN_SECONDS
    quiet_since = time.monotonic()
    while time.monotonic() - quiet_since < SETTLE_SECONDS:
        if time.monotonic() > last:
            raise TimeoutError(f"Jobs still run {IDLE_WITHIN_SECONDS:g} s after the start.")
        time.sleep(0.5)
        if any(busy in _command_of(pid) for pid in _tree(root) for busy in BUSY):
            quiet_since = time.monotonic()


def _command_of(pid: int) -> str:
    with suppress(OSError):
        return Path(f"/proc/{pid}/cmdline").read_text(encoding="utf-8", errors="replace").replace("\0", " ")
    return ""


@contextmanager
def serving(folder: str, *more: str) -> Iterator[tuple[int, int]]:
    """Run ``up`` on a data folder until its first answer. Yield the process id of its root, and the port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        _line("--host", "127.0.0.1", "--port", str(port), *more), env=_environment(folder), stdout=subprocess.DEVNULL
    )
    try:
        _first_answer(port)
        yield process.pid, port
    finally:
        process.terminate()
        process.wait(timeout=30)


def look_round(port: int) -> None:
    """Sign in to the demo and open its pages, twice each, so that both workers have shown some."""
    browser, now_page = signed_in(port)
    for page_of in ("now", "plant", "people", "records", "set-up", "log") * 2:
        browser.open(f"{now_page.removesuffix('now/')}{page_of}/").read()


def signed_in(port: int) -> tuple[OpenerDirector, str]:
    """Sign in to the demo; return the browser that did, and the address of the Now page."""
    root = f"http://127.0.0.1:{port}"
    jar = CookieJar()
    browser = build_opener(HTTPCookieProcessor(jar))
    browser.open(f"{root}{reverse('accounts:login')}").read()
    account = demo_sign_ins()[0]
    token = next(one.value for one in jar if one.name == settings.CSRF_COOKIE_NAME)
    form = {"username": account.username, "password": account.password, "csrfmiddlewaretoken": token}
    with browser.open(f"{root}{reverse('accounts:login')}", urlencode(form).encode()) as page:
        place = urlsplit(page.url).path
    if not place.endswith("/now/"):
        raise RuntimeError(f"Signing in to the demo led to {place}, not to a Now page.")
    return browser, f"{root}{place}"


def _first_answer(port: int) -> None:
    last = time.monotonic() + 120
    while time.monotonic() < last:
        with suppress(OSError), closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
            connection.request("GET", "/")
            connection.getresponse().read()
            return
        time.sleep(0.05)
    raise TimeoutError(f"Nothing answers on port {port} after 120 s.")


def _up(folder: str, *arguments: str) -> None:
    subprocess.run(_line(*arguments), env=_environment(folder), check=True, stdout=subprocess.DEVNULL)


def _line(*arguments: str) -> list[str]:
    """Start with the Python outside the environment, as a person does, so that its checks are measured, too."""
    outside = Path(sys.base_prefix) / "bin" / "python3"
    return [str(outside if outside.exists() else sys.executable), str(ROOT / "manage.py"), "up", *arguments]


def _environment(folder: str) -> dict[str, str]:
    left_out = ("DEEPSTEAD_DATABASE_URL", "DJANGO_SETTINGS_MODULE")
    return {**{k: v for k, v in os.environ.items() if k not in left_out}, "DEEPSTEAD_DATA": folder}


def _tree(root: int) -> list[int]:
    """Return a process and all that it started, by /proc."""
    children: dict[int, list[int]] = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            parent = int(path.read_text(encoding="utf-8", errors="replace").rsplit(")", 1)[1].split()[1])
            children.setdefault(parent, []).append(int(path.parent.name))
    found = [root]
    for pid in found:
        found.extend(children.get(pid, []))
    return found


def _pss_kb(pid: int) -> int:
    """Return the proportional set size of one process, which counts shared pages once over all sharers."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
