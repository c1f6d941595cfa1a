"""Watches over the web server and the job runner. Standard library only, to stay small.

``python -m facility.project.supervisor HOST PORT`` starts both, starts a fallen one again
after a growing pause, and stops both on Ctrl-C or SIGTERM. With ``stopped`` as its only word it
takes the end of a service as systemd tells it (systemd.exec(5)).
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from facility.project import env

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import FrameType

ROOT = Path(__file__).resolve().parent.parent.parent
LOOK_SECONDS = 0.25
FIRST_PAUSE_SECONDS = 0.5
LONGEST_PAUSE_SECONDS = 60.0
STEADY_SECONDS = 60.0
STOP_SECONDS = 10.0
PR_SET_PDEATHSIG = 1  # prctl(2)
#: file in the data folder that is there while the server runs, and stays after a stop that was not clean
RUNNING = "running"
STOPPED = "stopped"
WELL = {"SERVICE_RESULT": "success", "EXIT_CODE": "exited"}
"""How systemd tells of a service that ended by itself when asked to; one killed by SIGTERM before it served has success, too."""


@dataclass
class Child:
    """One program that is kept running."""

    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    pause: float = FIRST_PAUSE_SECONDS
    start_at: float = 0.0

    def look(self, now: float) -> None:
        """Start the program if it is due; note its end and when to start it again."""
        if self.process is not None:
            code = self.process.poll()
            if code is None:
                return
            self._ended(code, now)
        if self.process is None and now >= self.start_at:
            self.process = subprocess.Popen(self.command, start_new_session=True, preexec_fn=end_with_parent)  # noqa: PLW1509 - one thread
            self.started_at = now

    def _ended(self, code: int, now: float) -> None:
        if now - self.started_at >= STEADY_SECONDS:
            self.pause = FIRST_PAUSE_SECONDS
        self.process = None
        self.start_at = now + self.pause
        _say(f"{self.name} ended with code {code}; it starts again in {self.pause:g} s.")
        self.pause = min(self.pause * 2, LONGEST_PAUSE_SECONDS)

    def send(self, number: signal.Signals) -> None:
        """Send a signal to the program; SIGKILL goes to all that it started, too."""
        if self.process is None or self.process.poll() is not None:
            return
        with suppress(ProcessLookupError):
            if number is signal.SIGKILL:
                os.killpg(self.process.pid, number)
            else:
                self.process.send_signal(number)

    def is_running(self) -> bool:
        """Whether the program still runs."""
        return self.process is not None and self.process.poll() is None


@dataclass
class Supervisor:
    """Keeps its children running until it is told to stop."""

    children: Sequence[Child]
    clock: Callable[[], float] = time.monotonic
    pause: Callable[[float], None] = time.sleep
    stopping: bool = field(default=False, init=False)

    def run(self) -> None:
        """Watch until SIGTERM or Ctrl-C, then stop the children."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._stop)
        while not self.stopping:
            for child in self.children:
                child.look(self.clock())
            self.pause(LOOK_SECONDS)
        self.stop_children()

    def stop_children(self) -> None:
        """Ask every child to end, wait, and end by force what is left."""
        for child in self.children:
            child.send(signal.SIGTERM)
        last = self.clock() + STOP_SECONDS
        while self.clock() < last and any(child.is_running() for child in self.children):
            self.pause(0.05)
        for child in self.children:
            child.send(signal.SIGKILL)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.stopping = True


def end_with_parent() -> None:
    """Let the child end, too, when the supervisor is killed: else it would hold the port."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


def web_server(host: str, port: int) -> Child:
    """Return the web server of this installation."""
    workers = env.integer("DEEPSTEAD_WEB_WORKERS", 1, least=1)
    line = [
        sys.executable, "-m", "gunicorn", "facility.project.wsgi:application",
        "--bind", f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "--worker-class", "gthread", "--workers", str(workers), "--threads", "4",
        # with one worker there is nobody to share with: the parent stays small when it loads nothing
        *(["--preload"] if workers > 1 else []),
        "--timeout", "60", "--graceful-timeout", "8", "--keep-alive", "5", "--log-level", "warning",
        "--no-control-socket",
        "--logger-class", "facility.project.server_log.ServerLog",
    ]  # fmt: skip
    return Child("Web server", line)


def children(host: str, port: int) -> list[Child]:
    """Return the web server and the job runner of this installation; with a broker, a worker too."""
    jobs = [sys.executable, str(ROOT / "manage.py"), "run_jobs"]
    found = [web_server(host, port), Child("Job runner", jobs)]
    if os.environ.get("DEEPSTEAD_BROKER_URL") or os.environ.get("DEEPSTEAD_BROKER_URL_FILE"):
        found.append(Child("Worker", [sys.executable, str(ROOT / "manage.py"), "run_worker"]))
    return found


def command(host: str, port: int) -> list[str]:
    """Return the command line that starts the supervisor."""
    return [sys.executable, "-m", "facility.project.supervisor", host, str(port)]


def main(arguments: Sequence[str]) -> None:
    """Run the supervisor for the HOST and PORT given, or take the end of a service that systemd watched."""
    if list(arguments) == [STOPPED]:
        if all(os.environ.get(name) == told for name, told in WELL.items()):
            stopped_clean()
        return
    host, port = arguments
    os.chdir(ROOT)
    Supervisor(children(host, int(port))).run()
    stopped_clean()


def stopped_clean() -> None:
    """Take away the sign that a server runs: the next start need not look at the records."""
    (Path(os.environ.get("DEEPSTEAD_DATA") or ROOT / "var" / "main") / RUNNING).unlink(missing_ok=True)


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
