"""An upgrade makes a backup first, changes the tables, tests itself, and says how to go back if it fails."""

from __future__ import annotations

import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from facility import __version__
from tests.backup.kit import manage

pytestmark = pytest.mark.service
OWN = Path(__file__).parent.parent / "data" / "own_facility"


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Records in tables of an older state: the newest step of one part is taken back, as its migrations can."""
    folder = tmp_path_factory.mktemp("older")
    for line in (["up", "--no-serve"], ["import_facility", str(OWN)], ["migrate", "axes", "0008"]):
        done = manage(folder, *line)
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def older(template: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(template, tmp_path / "older"))


def steps(folder: Path) -> subprocess.CompletedProcess[str]:
    return manage(folder, "upgrade", "--check")


def rows(folder: Path, query: str) -> list[tuple[str, ...]]:
    with closing(sqlite3.connect(folder / "deepstead.sqlite3")) as link:
        return link.execute(query).fetchall()


def test_the_check_tells_the_steps_and_changes_nothing(older: Path) -> None:
    before = (older / "deepstead.sqlite3").read_bytes()
    found = steps(older)
    assert found.returncode == 3
    assert "axes.0009" in found.stdout.splitlines()[0]
    assert (older / "deepstead.sqlite3").read_bytes() == before
    assert not (older / "backups").exists()


def test_up_makes_a_backup_first_then_tests_itself_and_records_it(older: Path, tmp_path: Path) -> None:
    count = rows(older, "SELECT COUNT(*) FROM facility_event")
    done = manage(older, "up", "--no-serve")
    assert done.returncode == 0, done.stderr
    (backup,) = (older / "backups" / f"before-upgrade-{__version__}").glob("*.backup")
    assert str(backup.parent) in done.stdout
    assert steps(older).returncode == 0
    newest = rows(older, "SELECT action, payload FROM facility_event ORDER BY seq DESC LIMIT 1")[0]
    assert newest[0] == "software:upgraded"
    assert backup.name in newest[1]
    # what lies in the backup is the older state, and it can be put back
    empty = tmp_path / "empty"
    empty.mkdir()
    back = manage(empty, "restore", str(backup), "--key", str(older / "backup-key"))
    assert back.returncode == 0, back.stderr
    assert f"events {count[0][0]}," in back.stdout.splitlines()[-1]
    assert "This fault was there already" not in back.stderr


def test_the_command_tells_what_it_did_and_again_finds_nothing_to_do(older: Path) -> None:
    done = manage(older, "upgrade")
    assert done.returncode == 0, done.stderr
    assert re.search(
        rf"Upgraded to {__version__} in [1-9] steps?; .* computed for [1-9]\d* plans? in [1-9] chambers?", done.stdout
    )
    again = manage(older, "upgrade")
    assert again.returncode == 0, again.stderr
    assert again.stdout.splitlines()[0] == f"The tables are those of version {__version__} already."
    assert len(list((older / "backups").rglob("*.backup"))) == 1


def test_a_new_installation_that_only_units_start_tells_the_link_to_the_first_account(tmp_path: Path) -> None:
    done = manage(tmp_path, "upgrade")
    assert done.returncode == 0, done.stderr
    link = re.search(r"Make the first account, once, on the address of this box: (/\S+)", done.stdout)
    assert link, done.stdout
    assert (tmp_path / "first-user-token").read_text().strip() in link[1]


def test_a_trigger_that_is_gone_is_put_back_before_units_serve(older: Path) -> None:
    assert manage(older, "upgrade").returncode == 0
    with closing(sqlite3.connect(older / "deepstead.sqlite3")) as link:
        link.execute("DROP TRIGGER event_no_update")
    assert manage(older, "upgrade").returncode == 0
    query = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name = 'event_no_update'"
    assert rows(older, query) == [("event_no_update",)]


def test_a_self_test_that_finds_a_fault_says_how_to_go_back_and_that_works(older: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(older / "deepstead.sqlite3")) as link:
        link.executescript("DROP TRIGGER event_no_update; UPDATE facility_event SET payload = '{}' WHERE seq = 2")
    done = manage(older, "up", "--no-serve")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert f"The upgrade to {__version__} failed: the self-test found: The text of event 2 was changed" in done.stderr
    line = re.search(r"run: python3 manage.py (restore \S+ --key \S+)", done.stderr)
    assert line
    empty = tmp_path / "empty"
    empty.mkdir()
    back = manage(empty, *line[1].split())
    assert back.returncode == 0, back.stderr
    assert "This fault was there already when the backup was made: The text of event 2 was changed" in back.stderr


def test_without_room_for_the_backup_the_upgrade_is_not_begun(older: Path) -> None:
    (older / "backups").write_text("a file where the folder should be")
    done = manage(older, "upgrade")
    assert done.returncode == 1
    assert "The upgrade was not begun, because its backup could not be made" in done.stderr
    assert "Nothing was changed" in done.stderr
    assert steps(older).returncode == 3
