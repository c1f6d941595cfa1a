"""Servers that a test starts on a free port for itself and takes away in the middle."""

from __future__ import annotations

import http.client
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import psycopg

from tests.facility.events.store import ROOT

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

PATIENCE_S = 60.0
OWNER = "deepstead"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
        return number


def wait(what: str, done: Callable[[], Any], seconds: float = PATIENCE_S) -> None:
    last = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < last, f"{what} did not come within {seconds} s"
        time.sleep(0.1)


def answers_on(port: int) -> bool:
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


def asked(
    port: int, address: str, *, method: str = "GET", body: str = "", headers: Mapping[str, str] | None = None
) -> tuple[int, str]:
    """Return status and text of an answer; 0 if nobody answers."""
    with (
        suppress(OSError, http.client.HTTPException),
        closing(http.client.HTTPConnection("127.0.0.1", port, timeout=40)) as link,
    ):
        link.request(method, address, body=body or None, headers=dict(headers or {}))
        answer = link.getresponse()
        return answer.status, answer.read().decode(errors="replace")
    return 0, ""


@dataclass
class Processes:
    """What a test has started; each ends by its own number, never by a name."""

    running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(
        self, name: str, command: Sequence[str], environment: Mapping[str, str] | None = None, **more: Any
    ) -> None:
        self.running[name] = subprocess.Popen(
            command, cwd=ROOT, env=dict(environment) if environment is not None else None, start_new_session=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **more,
        )  # fmt: skip

    def kill(self, name: str, number: signal.Signals = signal.SIGKILL) -> None:
        """End a process and what it started."""
        process = self.running.pop(name)
        with suppress(ProcessLookupError):
            os.killpg(process.pid, number)
        process.wait(timeout=30)

    def end(self) -> None:
        for name in list(self.running):
            self.kill(name)


def web(port: int) -> list[str]:
    """Return the command line of one web process."""
    return [
        sys.executable, "-m", "gunicorn", "facility.project.wsgi:application", "--bind", f"127.0.0.1:{port}",
        "--worker-class", "gthread", "--threads", "4", "--log-level", "critical", "--no-control-socket",
    ]  # fmt: skip


class Postgres:
    """A PostgreSQL server of its own; as root it runs under a user that may not do much, as it demands."""

    def __init__(self, folder: Path, processes: Processes) -> None:
        self.folder, self.port, self.processes = folder, free_port(), processes
        self.programs = postgres_programs()
        self.user: dict[str, Any] = {}
        if os.geteuid() == 0:
            who = next(name for name in ("postgres", "nobody") if _has(name))
            self.user = {"user": who, "group": pwd.getpwnam(who).pw_gid}
            folder.mkdir()
            shutil.chown(folder, who)
        self._call(
            "initdb", "--no-sync", "--auth=trust", f"--username={OWNER}", "--encoding=UTF8", "-D", str(folder / "data")
        )

    def _call(self, program: str, *words: str) -> None:
        done = subprocess.run(
            [str(self.programs / program), *words], capture_output=True, text=True, check=False, cwd="/", **self.user
        )
        assert done.returncode == 0, done.stderr

    @property
    def url(self) -> str:
        return f"postgresql://{OWNER}@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        line = [
            str(self.programs / "postgres"), "-D", str(self.folder / "data"), "-p", str(self.port), "-c", "listen_addresses=127.0.0.1",
            "-c", f"unix_socket_directories={self.folder}", "-c", "fsync=off", "-c", "max_connections=40",
        ]  # fmt: skip
        self.processes.start("postgres", line, **self.user)
        wait("PostgreSQL", self._takes)

    def _takes(self) -> bool:
        with suppress(psycopg.OperationalError), psycopg.connect(self.url, connect_timeout=2):
            return True
        return False

    def stop(self) -> None:
        """Pull the plug: the server and each of its connections end at once."""
        self.processes.kill("postgres", signal.SIGQUIT)
        wait("the end of PostgreSQL", lambda: not answers_on(self.port))


def _has(name: str) -> bool:
    with suppress(KeyError):
        return bool(pwd.getpwnam(name))
    return False


def postgres_programs() -> Path:
    """Return the folder of initdb and postgres, or one that is not there."""
    found = [
        *sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True),
        Path(shutil.which("initdb") or "/nowhere/x").parent,
    ]
    return next((folder for folder in found if (folder / "initdb").is_file()), Path("/nowhere"))
