"""Set-up from a bare machine: what it asks for, what it says, and that it needs only the standard library."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from facility.project import bootstrap

ROOT = Path(__file__).resolve().parent.parent.parent
BEFORE_INSTALLING = (
    "manage.py",
    "facility/__init__.py",
    "facility/project/__init__.py",
    "facility/project/bootstrap.py",
    "facility/project/folder.py",
    "facility/project/supervisor.py",
)


class Calls:
    """Programs that set-up would have started, with the answer for each."""

    def __init__(self, codes: dict[str, int] | None = None) -> None:
        self.made: list[str] = []
        self.codes = codes or {}

    def __call__(
        self, command: list[str], environment: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        line = " ".join(command)
        self.made.append(line)
        code = next((code for part, code in self.codes.items() if part in line), 0)
        return subprocess.CompletedProcess(command, code, "", "the last line of the program" if code else "")


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Calls:
    made = Calls()
    monkeypatch.setattr(bootstrap, "_call", made)
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(bootstrap, "PYTHON", tmp_path / ".venv/bin/python")
    (tmp_path / ".venv").mkdir()
    (tmp_path / "requirements.txt").write_text("pinned==1.0 --hash=sha256:00\n", encoding="utf-8")
    return made


@pytest.mark.parametrize("name", BEFORE_INSTALLING)
def test_what_runs_before_installing_needs_only_the_standard_library(name: str) -> None:
    tree = ast.parse((ROOT / name).read_text(encoding="utf-8"))
    named = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    named |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    roots = {word.split(".")[0] for word in named if not word.startswith("facility.project")}
    allowed = set(sys.stdlib_module_names) | {"facility"}
    if name == "manage.py":
        allowed.add("django")
    assert roots <= allowed


def test_each_pinned_package_has_a_hash() -> None:
    for name in ("requirements.txt", "tests/requirements.txt"):
        entries = re.split(r"\n(?=\S)", (ROOT / name).read_text(encoding="utf-8").strip())
        assert [entry for entry in entries if "==" not in entry or "--hash=sha256:" not in entry] == []


def test_the_pinned_packages_come_from_wherever_pip_is_set_up_for() -> None:
    for name in ("requirements.txt", "tests/requirements.txt"):
        assert not re.search(r"://|--index|--find-links", (ROOT / name).read_text(encoding="utf-8"))


def test_packages_are_installed_once_with_their_hashes(calls: Calls) -> None:
    bootstrap._packages("requirements.txt")
    bootstrap._packages("requirements.txt")
    (line,) = calls.made
    assert "pip install" in line
    assert "--require-hashes" in line


def test_changed_pins_are_installed_again(calls: Calls, tmp_path: Path) -> None:
    bootstrap._packages("requirements.txt")
    (tmp_path / "requirements.txt").write_text("pinned==1.1 --hash=sha256:01\n", encoding="utf-8")
    bootstrap._packages("requirements.txt")
    assert len(calls.made) == 2


def test_without_a_network_one_sentence_says_so_and_the_next_start_tries_again(calls: Calls) -> None:
    calls.codes = {"pip install": 1}
    with pytest.raises(bootstrap.SetUpError, match="pip needs the network"):
        bootstrap._packages("requirements.txt")
    calls.codes = {}
    bootstrap._packages("requirements.txt")
    assert len(calls.made) == 2


def test_a_missing_venv_module_is_named_to_somebody_who_may_not_install(
    calls: Calls, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap, "_can_make_environments", lambda: False)
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    calls.codes = {"import venv": 1}
    with pytest.raises(bootstrap.SetUpError, match="Run as root: apt-get install -y python3-venv"):
        bootstrap._virtual_environment()
    assert not [line for line in calls.made if line.startswith("apt-get")]


def test_root_on_debian_gets_the_venv_module(calls: Calls, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "_can_make_environments", lambda: False)
    as_root_on_debian(monkeypatch)
    bootstrap._virtual_environment()
    assert "apt-get -qq update" in calls.made
    assert "apt-get -qq install -y --no-install-recommends python3-venv" in calls.made
    assert any("-m venv" in line for line in calls.made)


def as_root_on_debian(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DEEPSTEAD_APT", raising=False)
    monkeypatch.setattr("os.geteuid", lambda: 0)
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(Path, "exists", lambda path: str(path) == "/etc/debian_version")


def test_missing_libraries_do_not_stop_the_start(
    calls: Calls, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(bootstrap, "missing_libraries", lambda: ["libpango-1.0-0", "libfontconfig1"])
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    bootstrap._native_libraries()
    said = capsys.readouterr().err
    assert "everything else does" in said
    assert "apt-get install -y --no-install-recommends libpango-1.0-0 libfontconfig1" in said


def test_a_library_that_is_not_there_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "NATIVE_LIBRARIES", {"libc.so.6": "libc6", "libnowhere-9.so.0": "libnowhere-9"})
    assert bootstrap.missing_libraries() == ["libnowhere-9"]


def test_somebody_may_forbid_apt(calls: Calls, monkeypatch: pytest.MonkeyPatch) -> None:
    as_root_on_debian(monkeypatch)
    monkeypatch.setenv("DEEPSTEAD_APT", "no")
    assert bootstrap._apt(["chromium"], why="the browser") is False
    assert calls.made == []


def test_an_old_python_is_refused_in_one_sentence() -> None:
    code = "import runpy, sys; sys.version_info = (3, 10, 4); runpy.run_path('manage.py', run_name='__main__')"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False, capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr == "Deepstead needs Python 3.11 or newer; this is Python 3.10.\n"


@pytest.mark.parametrize(("arguments", "needed"), [(["test"], True), (["up"], False), ([], False)])
def test_inside_the_environment_only_tests_may_lack_something(
    calls: Calls, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, arguments: list[str], needed: bool
) -> None:
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests/requirements.txt").write_text("tool==1.0 --hash=sha256:00\n", encoding="utf-8")
    monkeypatch.setattr(sys, "prefix", str(tmp_path / ".venv"))
    assert bootstrap.is_needed(arguments) is needed
    bootstrap._packages("tests/requirements.txt")
    assert not bootstrap.is_needed(arguments)


def test_outside_every_environment_set_up_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", sys.base_prefix)
    assert bootstrap.is_needed(["up"])


def test_a_half_made_environment_is_made_anew(calls: Calls, tmp_path: Path) -> None:
    python = tmp_path / ".venv/bin/python"
    python.parent.mkdir()
    python.touch(mode=0o755)
    calls.codes = {"import pip": 1}
    bootstrap._virtual_environment()
    assert any("-m venv --clear" in line for line in calls.made)


def test_a_made_environment_is_left_alone(calls: Calls, tmp_path: Path) -> None:
    python = tmp_path / ".venv/bin/python"
    python.parent.mkdir()
    python.touch(mode=0o755)
    bootstrap._packages("requirements.txt")
    calls.made.clear()
    bootstrap._virtual_environment()
    assert calls.made == []
