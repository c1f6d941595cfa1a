"""The lines of the systemd units, run as systemd runs them: the port of the settings, a kill, a clean stop."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.project.test_up import environment, first_answer, rows, up, wait_until_free
from tests.project.test_up import folder as folder
from tests.project.test_up import port as port

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.service
ROOT = Path(__file__).resolve().parent.parent.parent
WEB = ROOT / "facility" / "project" / "deploy" / "systemd" / "deepstead-web.service"
CHECKED = "SELECT count(*) FROM facility_event WHERE action = 'records:checked-after-unclean-stop'"


def line_of(what: str) -> list[str]:
    """Return a command line of the unit, with this Python and this folder in place of those of an installation."""
    (found,) = re.findall(rf"^{what}=(.+)$", WEB.read_text(), re.MULTILINE)
    here = str(found).replace("/opt/deepstead/.venv/bin/python", sys.executable).replace("/opt/deepstead", str(ROOT))
    return here.split()


@contextmanager
def service(folder: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """Start the unit's main process, the port given as /etc/deepstead.env would."""
    told = {**environment(folder), "DEEPSTEAD_PORT": str(port)}
    process = subprocess.Popen(
        line_of("ExecStart"), env=told, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    try:
        yield process
    finally:
        with suppress(ProcessLookupError):
            process.terminate()
        process.communicate(timeout=30)


def after_the_end(folder: Path, result: str, code: str = "exited") -> None:
    """Run what systemd runs after the service ended. Source for the words: systemd.exec(5), SERVICE_RESULT, EXIT_CODE."""
    told = {**environment(folder), "SERVICE_RESULT": result, "EXIT_CODE": code}
    done = subprocess.run(line_of("ExecStopPost"), env=told, cwd=ROOT, check=False, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def checks(folder: Path) -> int:
    """Return how often the records were checked after a stop that was not clean."""
    return int(rows(folder, CHECKED)[0][0])


def test_the_unit_serves_on_the_port_of_the_settings_and_a_clean_stop_leaves_nothing_to_check(
    folder: Path, port: int
) -> None:
    with service(folder, port) as server:
        assert first_answer(port) < 500
        assert (folder / "running").is_file()
        server.send_signal(signal.SIGTERM)
        assert server.wait(timeout=30) == 0
    after_the_end(folder, "success")
    assert not (folder / "running").exists()
    wait_until_free(port)
    with service(folder, port):
        first_answer(port)
    after_the_end(folder, "success")
    assert checks(folder) == 0


def test_a_unit_that_was_killed_checks_the_records_once_before_it_serves_again(folder: Path, port: int) -> None:
    with service(folder, port) as killed:
        first_answer(port)
        killed.kill()
        killed.wait(timeout=30)
    after_the_end(folder, "signal", "killed")
    wait_until_free(port)
    before = checks(folder)
    for _start in range(2):
        with service(folder, port) as server:
            first_answer(port)
            server.send_signal(signal.SIGTERM)
            server.wait(timeout=30)
        after_the_end(folder, "success")
        wait_until_free(port)
    assert checks(folder) == before + 1


def test_a_stop_while_the_records_are_still_being_checked_leaves_the_check_to_the_next_start(folder: Path) -> None:
    """A process that SIGTERM ends before it serves was killed, though its service ended well: systemd.service(5)."""
    sign = folder / "running"
    sign.write_text("1\n")
    after_the_end(folder, "success", "killed")
    assert sign.is_file()
    after_the_end(folder, "success", "exited")
    assert not sign.exists()


def test_beside_the_unit_no_second_server_can_take_the_records(folder: Path, port: int) -> None:
    with service(folder, port):
        first_answer(port)
        done = up(folder, "--host", "127.0.0.1", "--port", str(port + 1 if port < 65000 else port - 1))
    after_the_end(folder, "success")
    assert done.returncode == 1
    assert f"A server already runs on the records in {folder}." in done.stderr
