"""The offline kit, tried where there is neither a network nor a registry; a changed file stops it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from facility.project import kit

pytestmark = pytest.mark.service
SH = "/bin/sh"
#: nothing of this machine's own registries is handed on
KEPT = ("PATH", "HOME", "LANG", "TMPDIR")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kit") / "kit"
    try:
        kit.make(folder, lambda _sentence: None)
    except kit.KitError as error:
        pytest.skip(f"No registry from which the kit's packages could be fetched: {str(error).splitlines()[-2:]}")
    return folder


def cut_off() -> list[str]:
    """Return the words before a command that take the network away, where this user may do so."""
    words = ["unshare", "--net", "--map-root-user"]
    if shutil.which("unshare") and subprocess.run([*words, "true"], check=False, capture_output=True).returncode == 0:
        return words
    return []


def install(folder: Path, to: Path, **more: str) -> subprocess.CompletedProcess[str]:
    kept = {name: os.environ[name] for name in KEPT if name in os.environ}
    own = {"PIP_NO_INDEX": "1", "PIP_CONFIG_FILE": os.devnull, "DEEPSTEAD_TO": str(to), "PYTHON": _base_python()}
    return subprocess.run(
        [*cut_off(), SH, str(folder / "install.sh")],
        env=kept | own | more,
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )


def _base_python() -> str:
    return str(Path(sys.base_prefix) / "bin" / f"python{sys.version_info.major}.{sys.version_info.minor}")


def test_it_installs_without_a_network_and_sets_itself_up(made: Path, tmp_path: Path) -> None:
    to = tmp_path / "opt"
    done = install(made, to, DEEPSTEAD_DATA=str(tmp_path / "records"))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Make the first account, once, at:" in done.stdout
    assert (tmp_path / "records" / "deepstead.sqlite3").is_file()
    checked = subprocess.run(
        [str(to / ".venv" / "bin" / "python"), str(to / "manage.py"), "check_records"], capture_output=True, text=True, check=False,
        env={"PATH": os.environ["PATH"], "DEEPSTEAD_DATA": str(tmp_path / "records")}, timeout=60,
    )  # fmt: skip
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert not (to / "tests").exists()


def test_sha256sum_of_the_core_utilities_agrees_with_the_list(made: Path) -> None:
    done = subprocess.run(["sha256sum", "--check", "--strict", "--quiet", kit.SUMS], cwd=made, check=False, timeout=60)
    assert done.returncode == 0
    listed = {line.split("  ", 1)[1] for line in (made / kit.SUMS).read_text().splitlines()}
    there = {path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()}
    assert listed == there - {kit.SUMS}


def test_a_changed_wheel_is_refused_before_anything_is_installed(made: Path, tmp_path: Path) -> None:
    changed = Path(shutil.copytree(made, tmp_path / "changed", copy_function=os.link))
    wheel = next((changed / "wheels").iterdir())
    content = wheel.read_bytes()
    wheel.unlink()
    wheel.write_bytes(content + b"x")
    done = install(changed, tmp_path / "opt")
    assert done.returncode == 1
    assert "A file of this kit is missing or was changed. Copy the kit anew; nothing was installed." in done.stderr
    assert not (tmp_path / "opt").exists()


def test_a_kit_for_another_python_is_refused(made: Path, tmp_path: Path) -> None:
    other = tmp_path / "python"
    other.write_text("#!/bin/sh\necho 3.9\n")
    other.chmod(0o755)
    done = install(made, tmp_path / "opt", PYTHON=str(other))
    assert done.returncode == 1
    assert f"This kit was made for Python {(made / 'PYTHON').read_text().strip()}, {other} is 3.9." in done.stderr
    assert not (tmp_path / "opt").exists()


def test_a_folder_that_is_not_empty_is_refused(tmp_path: Path) -> None:
    (tmp_path / "old.whl").write_text("old")
    with pytest.raises(CommandError, match="is not empty. Name a new folder by --out"):
        call_command("make_kit", "--out", str(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["old.whl"]
