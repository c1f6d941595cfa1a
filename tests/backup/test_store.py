"""Which backups stay, how old the newest is, and the second copy. The days were taken from a calendar by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from facility.backup import newest_age, store
from facility.backup.pruning import kept

if TYPE_CHECKING:
    from pathlib import Path


def night(day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T02:00:00+00:00")


def nights(first: str, last: str) -> list[datetime]:
    days = (night(last) - night(first)).days
    return [night(first) + timedelta(days=number) for number in range(days + 1)]


def put(target: Path, instant: datetime) -> Path:
    target.mkdir(exist_ok=True)
    path = store.free_path(target, instant)
    path.write_bytes(b"sealed")
    return path


def test_after_two_years_seven_days_five_weeks_twelve_months_and_each_year_are_there() -> None:
    """12 March 2026 is a Thursday; a week of ISO 8601 ends on Sunday."""
    expected = {
        # days
        "2026-03-12", "2026-03-11", "2026-03-10", "2026-03-09", "2026-03-08", "2026-03-07", "2026-03-06",
        # weeks: this one, 8 March as above, and the Sundays before
        "2026-03-01", "2026-02-22", "2026-02-15",
        # months: this one, and the last nights of the eleven before
        "2026-02-28", "2026-01-31", "2025-12-31", "2025-11-30", "2025-10-31", "2025-09-30", "2025-08-31",
        "2025-07-31", "2025-06-30", "2025-05-31", "2025-04-30",
        # years
        "2024-12-31", "2023-12-31",
    }  # fmt: skip
    assert kept(nights("2023-06-15", "2026-03-12")) == {night(day) for day in expected}


def test_pruning_every_night_leaves_the_same_as_pruning_once() -> None:
    stay: set[datetime] = set()
    for instant in nights("2023-06-15", "2026-03-12"):
        stay = kept(stay | {instant})
    assert stay == kept(nights("2023-06-15", "2026-03-12"))


def test_the_last_of_a_day_stays_and_a_long_pause_takes_nothing_away() -> None:
    twice = [datetime(2026, 3, 12, 2, tzinfo=UTC), datetime(2026, 3, 12, 18, tzinfo=UTC)]
    before_the_pause = nights("2025-01-01", "2025-01-04")
    assert kept([*twice, *before_the_pause]) == {twice[1], *before_the_pause}
    assert kept([]) == set()


def test_the_turn_of_the_year_lies_in_one_week() -> None:
    """ISO 8601: 29 December 2025 to 4 January 2026 is week 1 of 2026, so it has one weekly backup only."""
    newer = nights("2026-01-05", "2026-01-11")
    old = [night("2025-12-30"), night("2026-01-02"), night("2025-12-10")]
    assert kept([*newer, *old]) == {*newer, night("2026-01-02"), night("2025-12-30"), night("2025-12-10")}
    # 30 December stays as the last of its month and year, not of its week: without that it would go
    assert night("2025-12-30") not in kept([*newer, *old, night("2025-12-31")])


def test_pruning_touches_only_files_named_as_backups(tmp_path: Path) -> None:
    for instant in nights("2026-01-01", "2026-03-12"):
        put(tmp_path, instant)
    others = ["notes.txt", "deepstead-copy.backup", "deepstead-2026-13-45T990000Z.backup"]
    for name in others:
        (tmp_path / name).write_text("mine")
    removed = store.prune(tmp_path)
    left = {path.name for path in tmp_path.iterdir()}
    assert set(others) <= left
    # 1 January to 12 March are 71 nights: 7 days, 3 more Sundays, and 28 February and 31 January stay
    assert removed == 71 - 12
    assert len(left) == 12 + 3


def test_the_newest_one_s_age_is_told_by_its_name(folder: Path) -> None:
    assert newest_age(night("2026-03-12")) is None
    for day in ("2026-03-10", "2026-03-11", "2026-03-09"):
        put(store.folder(), night(day))
    assert newest_age(night("2026-03-12") + timedelta(hours=3)) == timedelta(hours=27)


def test_two_backups_of_one_second_have_two_names(tmp_path: Path) -> None:
    first, second = put(tmp_path, night("2026-03-12")), put(tmp_path, night("2026-03-12"))
    assert (first.name, second.name) == ("deepstead-2026-03-12T020000Z.backup", "deepstead-2026-03-12T020000Z-2.backup")
    assert [path for _instant, path in store.found(tmp_path)] != []
    assert store.prune(tmp_path) == 0
