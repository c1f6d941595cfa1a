"""Real and invented records never share a data folder."""

from __future__ import annotations

import sqlite3
import stat
from contextlib import closing
from pathlib import Path

import pytest

from facility.project import folder


@pytest.fixture(autouse=True)
def _no_database_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DEEPSTEAD_DATABASE_URL", raising=False)


def write_database(path: Path, *, users: int) -> None:
    with closing(sqlite3.connect(path / folder.DATABASE)) as connection:
        connection.execute("CREATE TABLE facility_user (id INTEGER)")
        connection.executemany("INSERT INTO facility_user VALUES (?)", [(number,) for number in range(users)])
        connection.commit()


def test_a_new_demo_folder_is_marked(tmp_path: Path) -> None:
    folder.prepare(tmp_path / "new", demo=True)
    assert (tmp_path / "new" / "demo-data").is_file()
    folder.prepare(tmp_path / "new", demo=True)


def test_a_new_folder_is_open_to_its_owner_alone_and_one_that_is_there_stays_as_it_is(tmp_path: Path) -> None:
    """Names of patients lie in the database: another user of the machine reads nothing of it."""
    folder.prepare(tmp_path / "new", demo=False)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o700
    (tmp_path / "shared").mkdir(mode=0o750)
    folder.prepare(tmp_path / "shared", demo=False)
    assert stat.S_IMODE((tmp_path / "shared").stat().st_mode) == 0o750


def test_a_new_folder_for_real_records_is_not_marked(tmp_path: Path) -> None:
    folder.prepare(tmp_path / "new", demo=False)
    assert list((tmp_path / "new").iterdir()) == []


def test_demo_records_are_not_put_beside_real_ones(tmp_path: Path) -> None:
    write_database(tmp_path, users=1)
    with pytest.raises(folder.FolderError, match="holds real records.*Leave out --demo"):
        folder.prepare(tmp_path, demo=True)
    assert not (tmp_path / "demo-data").exists()


def test_empty_tables_are_no_records(tmp_path: Path) -> None:
    write_database(tmp_path, users=0)
    folder.prepare(tmp_path, demo=True)
    assert (tmp_path / "demo-data").is_file()


def test_real_records_are_not_put_beside_demo_ones(tmp_path: Path) -> None:
    folder.prepare(tmp_path, demo=True)
    with pytest.raises(folder.FolderError, match="holds invented demo records.*Add --demo"):
        folder.prepare(tmp_path, demo=False)


def test_demo_records_do_not_go_into_a_named_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DEEPSTEAD_DATABASE_URL", "postgresql://db.example/records")
    with pytest.raises(folder.FolderError, match="Unset DEEPSTEAD_DATABASE_URL"):
        folder.prepare(tmp_path, demo=True)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(folder.FolderError, match="data folder .*file/records cannot be written"):
        folder.prepare(tmp_path / "file" / "records", demo=False)


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    (tmp_path / folder.DATABASE).write_text("this is a letter, not a database" * 40, encoding="utf-8")
    with pytest.raises(folder.FolderError, match="cannot be read: file is not a database"):
        folder.prepare(tmp_path, demo=True)


@pytest.mark.parametrize(("arguments", "name"), [(["up"], "main"), (["up", "--demo"], "demo")])
def test_each_sort_has_its_folder(
    arguments: list[str], name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder, "ROOT", tmp_path)
    monkeypatch.setenv("DEEPSTEAD_DATA", "")
    folder.choose(arguments)
    assert (tmp_path / "var" / name).is_dir()


def test_another_command_makes_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "ROOT", tmp_path)
    folder.choose(["check"])
    assert list(tmp_path.iterdir()) == []
