"""The database server goes away in the middle, and comes back: plain words meanwhile, and all is well after."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import psycopg
import pytest

from tests.facility.events.store import Store
from tests.unplug import servers
from tests.unplug.box import is_plain
from tests.unplug.servers import Postgres, Processes, asked, wait

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.service
OWN = Path(__file__).parent.parent / "data" / "own_facility"
SIGNED_IN = """
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from facility.models import User
user = User.objects.create(username="first", is_superuser=True)
session = SessionStore()
session[SESSION_KEY], session[HASH_SESSION_KEY] = str(user.pk), user.get_session_auth_hash()
session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
session.create()
print("session", session.session_key)
"""


@pytest.fixture
def processes() -> Iterator[Processes]:
    found = Processes()
    try:
        yield found
    finally:
        found.end()


@pytest.fixture
def server(processes: Processes) -> Iterator[Postgres]:
    if not servers.postgres_programs().is_dir():
        pytest.skip("No initdb and postgres on this machine: Debian has them in the package postgresql.")
    folder = Path(tempfile.mkdtemp(prefix="deepstead-unplug-"))  # the server's user must reach it
    folder.chmod(0o755)
    try:
        yield Postgres(folder / "server", processes)
    finally:
        processes.end()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def made(server: Postgres, tmp_path: Path) -> Store:
    """A facility in the server's database."""
    server.start()
    found = Store(tmp_path, server.url)
    for words in (["migrate", "--verbosity", "0"], ["import_facility", str(OWN)]):
        done = found.manage(*words)
        assert done.returncode == 0, done.stderr
    return found


def session_of(made: Store) -> dict[str, str]:
    done = made.manage("shell", "--verbosity", "0", "-c", SIGNED_IN)
    assert done.returncode == 0, done.stderr
    return {"Cookie": f"sessionid={done.stdout.split()[-1]}"}


def beats_after(url: str, instant: object) -> bool:
    with psycopg.connect(url) as link:
        found = link.execute("SELECT MAX(beat_at) FROM facility_heartbeat").fetchone()
    return found is not None and found[0] is not None and (instant is None or found[0] > instant)


def now_of(url: str) -> object:
    with psycopg.connect(url) as link:
        row = link.execute("SELECT clock_timestamp()").fetchone()
    assert row
    return row[0]


def events_of(made: Store) -> int:
    return int(made.rows("SELECT COUNT(*) FROM facility_event")[0][0])


def test_without_its_database_the_box_says_so_and_goes_on_when_it_is_back(
    server: Postgres, made: Store, processes: Processes
) -> None:
    port, cookie = servers.free_port(), session_of(made)
    (site,) = made.rows("SELECT key FROM facility_site")[0]
    now = f"/{site}/now/"
    line = [sys.executable, "-m", "facility.project.supervisor", "127.0.0.1", str(port)]
    processes.start("box", line, made.environment() | {"HOME": os.environ.get("HOME", "/")})
    wait("the page Now", lambda: asked(port, now, headers=cookie)[0] == 200)
    wait("a heartbeat", lambda: beats_after(server.url, None))
    before = events_of(made)

    server.stop()
    for method in ("GET", "POST"):
        status, page = asked(port, now, method=method, headers=cookie)
        assert status == 503, page[:400]
        assert is_plain(page)
        assert "The box cannot reach its records just now" in page
    assert asked(port, "/healthz")[0] == 200
    status, text = asked(port, "/readyz")
    assert status == 503
    assert "The database does not answer" in text
    assert "Traceback" not in text

    server.start()
    wait("the page Now again", lambda: asked(port, now, headers=cookie)[0] == 200)
    back = now_of(server.url)
    wait("the job runner again", lambda: beats_after(server.url, back))
    assert events_of(made) == before
    checked = made.manage("check_records")
    assert checked.returncode == 0, checked.stdout
