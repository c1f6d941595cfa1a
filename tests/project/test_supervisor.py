"""The supervisor: a fallen child comes back after a growing pause, all end with it, nothing is left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from facility.project import supervisor
from facility.project.supervisor import Child, Supervisor

ROOT = Path(__file__).resolve().parent.parent.parent
ENDS_AT_ONCE = [sys.executable, "-c", "raise SystemExit(3)"]
STAYS = [sys.executable, "-c", "import time; time.sleep(600)"]
IGNORES_TERM = [
    sys.executable,
    "-c",
    "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('ready', flush=True); time.sleep(600)",
]


def ended(child: Child) -> Child:
    assert child.process is not None
    child.process.wait(timeout=20)
    return child


def test_the_pause_grows_with_each_fall_up_to_a_minute(capsys: pytest.CaptureFixture[str]) -> None:
    child = Child("Runner", ENDS_AT_ONCE)
    now, pauses = 0.0, []
    for _ in range(9):
        child.look(now)
        ended(child).look(now)
        pauses.append(child.start_at - now)
        now = child.start_at
    assert pauses == [0.5, 1, 2, 4, 8, 16, 32, 60, 60]
    assert "Runner ended with code 3; it starts again in 0.5 s." in capsys.readouterr().err


def test_it_waits_for_the_pause_before_starting_again() -> None:
    child = Child("Runner", ENDS_AT_ONCE)
    child.look(0.0)
    ended(child).look(0.0)
    first = child.started_at
    child.look(0.4)
    assert (first, child.started_at, child.is_running()) == (0.0, 0.0, False)
    child.look(0.5)
    assert child.started_at == 0.5
    ended(child)


def test_after_a_steady_minute_the_pause_is_short_again() -> None:
    child = Child("Runner", ENDS_AT_ONCE, pause=32.0)
    child.look(0.0)
    ended(child).look(60.0)
    assert child.start_at == 60.5


def test_stopping_ends_every_child() -> None:
    keeper = Supervisor([Child("one", STAYS), Child("two", STAYS)])
    for child in keeper.children:
        child.look(0.0)
    keeper.stop_children()
    assert [ended(child).is_running() for child in keeper.children] == [False, False]


def test_a_child_that_does_not_listen_is_ended_by_force() -> None:
    child = Child("deaf", IGNORES_TERM)
    child.process = subprocess.Popen(IGNORES_TERM, start_new_session=True, stdout=subprocess.PIPE)
    assert child.process.stdout is not None
    with child.process.stdout as output:
        output.readline()
        ticks = iter(range(0, 1000, 5))
        Supervisor([child], clock=lambda: float(next(ticks)), pause=lambda _: None).stop_children()
    assert ended(child).process is not None
    assert child.process.returncode == -signal.SIGKILL


def test_a_killed_supervisor_takes_its_children_along() -> None:
    """Else the web server would hold the port against the next start."""
    code = (
        "from facility.project.supervisor import Child\n"
        f"child = Child('one', {STAYS!r})\nchild.look(0.0)\nprint(child.process.pid, flush=True)\n"
        "import time; time.sleep(600)"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE)
    assert parent.stdout is not None
    with parent.stdout as output:
        pid = int(output.readline())
        parent.kill()
        parent.wait(timeout=20)
    assert gone_within(pid, seconds=10)


def gone_within(pid: int, *, seconds: float) -> bool:
    last = time.monotonic() + seconds
    while time.monotonic() < last:
        try:
            state = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0]
        except OSError:
            return True
        if state == "Z":
            return True
        time.sleep(0.05)
    return False


def test_a_clean_stop_leaves_no_sign_of_running(tmp_path: Path) -> None:
    (tmp_path / supervisor.RUNNING).write_text("1\n", encoding="utf-8")
    code = (
        "import sys\nfrom facility.project import supervisor\n"
        f"supervisor.children = lambda host, port: [supervisor.Child('one', {STAYS!r})]\n"
        "print('ready', flush=True)\nsupervisor.main(['127.0.0.1', '0'])"
    )
    environment = {**os.environ, "DEEPSTEAD_DATA": str(tmp_path)}
    process = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, env=environment, stdout=subprocess.PIPE)
    assert process.stdout is not None
    with process.stdout as output:
        output.readline()
        time.sleep(0.5)
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == 0
    assert not (tmp_path / supervisor.RUNNING).exists()
