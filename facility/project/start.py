"""What comes before serving: port, tables, triggers, first records, first link."""

from __future__ import annotations

import fcntl
import io
import os
import socket
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.db import connection

from facility import record_check, triggers
from facility.models import Site
from facility.project import env, supervisor
from facility.trust import looking

if TYPE_CHECKING:
    from collections.abc import Iterator

DEFAULT_HOST = "0.0.0.0"  # noqa: S104 - a tablet in the local network must reach it
ALL_HOSTS = ("0.0.0.0", "::", "")  # noqa: S104 - compared, not bound


class StartError(RuntimeError):
    """The server cannot be started; the text says what to do."""


def default_port() -> int:
    """Return the port to serve on when none is given."""
    return env.integer("DEEPSTEAD_PORT", 8000, least=1)


def check_port(host: str, port: int) -> None:
    """Refuse a port that cannot be taken.

    Errors: StartError naming the port and the option to change it.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except (OSError, OverflowError) as error:
            raise StartError(
                f"Port {port} on {host} cannot be used: {getattr(error, 'strerror', None) or error}."
                f" Another program may have it: name a free port with --port."
            ) from error


@contextmanager
def one_at_a_time() -> Iterator[None]:
    """Hold the data folder's lock, so that two starts do not change the tables at once."""
    with (settings.DATA_DIR / "start.lock").open("w", encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def lacks_demo() -> bool:
    """Whether the invented records are still to be loaded."""
    return not Site.objects.exists()


def load_demo() -> None:
    """Load the invented records; its long report is left out here."""
    call_command("load_demo", stdout=io.StringIO())


def refuse_running() -> None:
    """Refuse while a server runs on the data folder: it holds the lock on its sign.

    Errors: StartError naming the folder.
    """
    sign = settings.DATA_DIR / supervisor.RUNNING
    if not sign.is_file():
        return
    with sign.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise StartError(
                f"A server runs on {settings.DATA_DIR}. Stop it first, then start this command again."
            ) from error


def serve(host: str, port: int, *, only_web: bool = False) -> NoReturn:
    """Put the event triggers right, look at the last stop, and become the supervisor.

    With ``only_web`` become the web server, where a service manager watches over it and the job runner.
    Errors: StartError if a server already runs on these records.
    """
    if mark_running(settings.DATA_DIR / supervisor.RUNNING):
        record_check.after_unclean_stop()
    triggers.ensure()
    looking.check_start(quick=True)
    settings.STATIC_ROOT.mkdir(parents=True, exist_ok=True)
    connection.close()
    os.environ["DEEPSTEAD_DATA"] = str(settings.DATA_DIR)
    line = list(supervisor.web_server(host, port).command) if only_web else supervisor.command(host, port)
    os.chdir(settings.BASE_DIR)
    os.execv(line[0], line)  # noqa: S606 - our own command line


def mark_running(path: Path) -> bool:
    """Leave the sign that a server runs, and lock it for the life of this process.

    Return whether a sign was left by one that did not stop clean. The file stays open over
    exec, so the lock ends with the supervisor, however that ends.
    Errors: StartError if the sign is locked by a running server.
    """
    sign = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        fcntl.flock(sign, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        os.close(sign)
        raise StartError(
            f"A server already runs on the records in {path.parent}. Use it, or stop it first; DEEPSTEAD_DATA names another folder."
        ) from error
    unclean = os.fstat(sign).st_size > 0
    os.ftruncate(sign, 0)
    os.write(sign, f"{os.getpid()}\n".encode())
    os.set_inheritable(sign, True)
    return unclean


def addresses(host: str, port: int) -> list[str]:
    """Return where a browser finds the server: on this machine and in the local network."""
    if host not in ALL_HOSTS:
        return [f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"]
    lan = lan_address()
    return [f"http://127.0.0.1:{port}", *([f"http://{lan}:{port}"] if lan else [])]


def lan_address() -> str:
    """Return this machine's own address in its network, or nothing. No packet is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documents only, RFC 5737
        except OSError:
            return ""
        name: str = probe.getsockname()[0]
    return "" if name.startswith("127.") else name
