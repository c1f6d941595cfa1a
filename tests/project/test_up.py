"""``manage.py up`` as a newcomer meets it: one command, plain sentences, a clean end, nothing lost."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from facility.project import start

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parent.parent.parent
NAMES_OF_OTHERS = ("DEEPSTEAD_DATABASE_URL", "DEEPSTEAD_PORT", "DJANGO_SETTINGS_MODULE")


def command(*arguments: str) -> list[str]:
    return [sys.executable, str(ROOT / "manage.py"), *arguments]


def environment(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in NAMES_OF_OTHERS}
    return {**kept, "DEEPSTEAD_DATA": str(folder), "DEEPSTEAD_APT": "no"}


def up(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command("up", *arguments), env=environment(folder), check=False, capture_output=True, text=True, timeout=120
    )


@pytest.fixture
def port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
        return number


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder that is set up already."""
    path = tmp_path_factory.mktemp("records")
    done = up(path, "--no-serve")
    assert done.returncode == 0, done.stderr
    return path


@contextmanager
def served(folder: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    line = command("up", "--host", "127.0.0.1", "--port", str(port))
    process = subprocess.Popen(
        line, env=environment(folder), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True
    )
    try:
        yield process
    finally:
        with suppress(ProcessLookupError):
            process.terminate()
        process.wait(timeout=20)


def wait_until_free(port: int) -> None:
    """Wait for what a killed server left behind to end, too."""
    last = time.monotonic() + 20
    while time.monotonic() < last:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            return
        time.sleep(0.1)
    pytest.fail(f"port {port} is still held")


def first_answer(port: int, *, seconds: float = 30) -> int:
    """Return the status of the first answer that the server gives."""
    last = time.monotonic() + seconds
    while time.monotonic() < last:
        with suppress(OSError), closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as connection:
            connection.request("GET", "/")
            return connection.getresponse().status
        time.sleep(0.1)
    pytest.fail(f"nothing answers on port {port}")


def rows(folder: Path, query: str) -> list[tuple[str]]:
    with closing(sqlite3.connect(folder / "deepstead.sqlite3", timeout=20)) as connection:
        return connection.execute(query).fetchall()


def test_setting_up_tells_where_records_are_and_how_to_make_the_first_account(folder: Path) -> None:
    done = up(folder, "--no-serve")
    assert done.returncode == 0
    assert f"Records are in {folder}." in done.stdout
    assert "Make the first account, once, at: http://127.0.0.1:8000/first-user/" in done.stdout
    assert done.stderr == ""


def test_two_first_starts_at_once_do_not_collide(tmp_path: Path) -> None:
    line = command("up", "--no-serve")
    pair = [
        subprocess.Popen(line, env=environment(tmp_path), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    said = [process.communicate(timeout=120)[1] for process in pair]
    assert [process.returncode for process in pair] == [0, 0], said


def test_it_answers_works_off_jobs_and_stops_clean(folder: Path, port: int) -> None:
    with served(folder, port) as server:
        assert first_answer(port) < 500
        assert (folder / "running").is_file()
        last = time.monotonic() + 20
        while not rows(folder, "SELECT name FROM facility_heartbeat") and time.monotonic() < last:
            time.sleep(0.1)
        assert rows(folder, "SELECT name FROM facility_heartbeat")[0][0].startswith("jobs@")
        server.send_signal(signal.SIGTERM)
        assert server.wait(timeout=20) == 0
    assert not (folder / "running").exists()
    wait_until_free(port)


def test_after_a_kill_the_log_is_checked_before_it_serves_again(folder: Path, port: int) -> None:
    with served(folder, port) as killed:
        first_answer(port)
        killed.kill()
        killed.wait(timeout=20)
    wait_until_free(port)
    with served(folder, port):
        first_answer(port)
    actions = [row[0] for row in rows(folder, "SELECT action FROM facility_event")]
    assert "records:checked-after-unclean-stop" in actions


def test_one_folder_has_one_server(folder: Path, port: int) -> None:
    with served(folder, port):
        first_answer(port)
        done = up(folder, "--host", "127.0.0.1", "--port", str(port + 1 if port < 65000 else port - 1))
    assert done.returncode == 1
    assert f"A server already runs on the records in {folder}." in done.stderr


def test_a_taken_port_is_named_with_the_way_out(folder: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        done = up(folder, "--host", "127.0.0.1", "--port", str(taken))
    assert done.returncode == 1
    assert f"Port {taken} on 127.0.0.1 cannot be used" in done.stderr
    assert "name a free port with --port" in done.stderr
    assert "Traceback" not in done.stderr


def test_demo_records_are_refused_beside_real_ones_in_one_sentence(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "deepstead.sqlite3")) as connection:
        connection.execute("CREATE TABLE facility_user AS SELECT 1 AS id")
        connection.commit()
    done = up(tmp_path, "--demo", "--no-serve")
    assert done.returncode == 1
    assert "holds real records" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_port_that_is_no_number_is_refused_by_name(folder: Path) -> None:
    done = subprocess.run(
        command("up"), env={**environment(folder), "DEEPSTEAD_PORT": "web"}, check=False, capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "DEEPSTEAD_PORT='web' is not a whole number." in done.stderr


def test_a_host_of_its_own_is_told_as_it_is() -> None:
    assert start.addresses("127.0.0.1", 8001) == ["http://127.0.0.1:8001"]
    assert start.addresses("::1", 8001) == ["http://[::1]:8001"]


def test_every_address_means_this_machine_and_the_local_network(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "lan_address", lambda: "192.0.2.7")
    assert start.addresses("0.0.0.0", 8000) == ["http://127.0.0.1:8000", "http://192.0.2.7:8000"]  # noqa: S104 - told, not bound
