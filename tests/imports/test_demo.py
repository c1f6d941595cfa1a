"""The demo: loaded through the importer, as of any day; at any hour of that day something is Ready and something is not."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.test import TestCase, override_settings

from facility.accounts.demo import demo_sign_ins
from facility.compute.states import State
from facility.demo.errors import DemoError
from facility.demo.loading import Loaded, demo_set, load, shift_to
from facility.models import Check, Event, Person, Site, User
from facility.readiness.services import site_output
from maintenance.models import BankReading, Equipment, WorkRecord
from tests import make

LEAST_PLANS, LEAST_FINDINGS = 4, 5


def signed(order: str) -> datetime:
    """Return when the first check in this order was signed."""
    checks: Any = Check.objects.order_by(order)
    at: datetime = checks.values_list("signed_at", flat=True)[0]
    return at


class LoadedDemo(TestCase):
    """The demo loaded once for all tests of a class."""

    day: ClassVar[date]
    folder: ClassVar[Path]
    loaded: ClassVar[Loaded]

    @classmethod
    def setUpClass(cls) -> None:
        cls.folder = Path(tempfile.mkdtemp())
        cls.enterClassContext(override_settings(DATA_DIR=cls.folder))
        super().setUpClass()

    @classmethod
    def tearDownClass(cls) -> None:
        super().tearDownClass()
        shutil.rmtree(cls.folder)

    @classmethod
    def setUpTestData(cls) -> None:
        cls.loaded = load(cls.day)

    def plans_at(self, at: datetime) -> dict[str, Any]:
        """Return the evaluations of all plans at an instant."""
        return {plan["plan"]: plan for plan in site_output(self.loaded.site, at)["plans"]}

    def hours(self) -> list[datetime]:
        """Return the instants, an hour apart, of the day of loading at the site."""
        zone = ZoneInfo("Europe/Oslo")
        begin = datetime.combine(self.day, datetime.min.time(), zone).astimezone(UTC)
        end = datetime.combine(self.day + timedelta(days=1), datetime.min.time(), zone).astimezone(UTC)
        count = int((end - begin) / timedelta(hours=1))
        return [begin + timedelta(hours=hour) for hour in range(count)] + [end - timedelta(minutes=1)]

    def assert_every_hour_has_both(self) -> None:
        """Something is Ready, something is not, and no plan rests on too little."""
        for at in self.hours():
            plans = self.plans_at(at)
            states = [plan["state"] for plan in plans.values()]
            full = [plan for plan in plans.values() if len(plan["findings"]) >= LEAST_FINDINGS]
            assert len(full) >= LEAST_PLANS, at
            assert State.READY in states, (at, states)
            assert State.NOT_READY in states, (at, states)


class DemoOnItsOwnDay(LoadedDemo):
    """Unshifted: the set's own today is the day of loading."""

    day = demo_set()["today"]

    def test_something_is_ready_and_something_is_not_at_every_hour(self) -> None:
        self.assert_every_hour_has_both()

    def test_the_morning_shows_all_four_states(self) -> None:
        plans = self.plans_at(datetime(2026, 2, 12, 8, 0, tzinfo=UTC))
        assert {name: plan["state"] for name, plan in plans.items()} == {
            "Table 5": "Ready",
            "Table 6": "Ready",
            "Table 6 for two": "Not ready",
            "Table 6A": "Not ready",
            "Table 9": "Ready with limits",
            "Table 1A on air": "Ready",
            "Training run to 60 fsw": "Not known",
        }

    def test_longer_tables_end_earlier(self) -> None:
        """By hand: the carbon dioxide analyser is good through 12 Feb, so until 23:00Z. Table 6 with all extensions
        lasts 288 + 2 x 25 + 2 x 75 + 30 = 518 min, Table 5 138 + 2 x 25 + 30 = 218 min."""
        plans = self.plans_at(datetime(2026, 2, 12, 8, 0, tzinfo=UTC))
        end = datetime(2026, 2, 12, 23, 0, tzinfo=UTC)
        for name, minutes in (("Table 6", 518), ("Table 5", 218)):
            assert plans[name]["duration_min"] == minutes
            assert plans[name]["holds_until"] == f"{end - timedelta(minutes=minutes):%Y-%m-%dT%H:%MZ}"

    def test_the_air_table_is_ready_until_the_banks_were_read_too_long_ago(self) -> None:
        """By hand: read 11 Feb 20:16 in Oslo, good for 30 h by the house's rule: until 13 Feb 02:16, 01:16Z."""
        plan = self.plans_at(datetime(2026, 2, 12, 8, 0, tzinfo=UTC))["Table 1A on air"]
        assert plan["holds_until"] == "2026-02-13T01:16Z"

    def test_it_has_the_usual_mess(self) -> None:
        assert Equipment.objects.filter(serial="").count() > 10
        assert WorkRecord.objects.filter(result="failed").exists()
        assert set(Check.objects.values_list("result", flat=True)) == {"passed", "failed", "limits", "unread"}
        assert BankReading.objects.count() > 400

    def test_nothing_is_recorded_for_the_day_of_loading_itself(self) -> None:
        midnight = datetime.combine(self.day, datetime.min.time(), ZoneInfo("Europe/Oslo"))
        assert not Check.objects.filter(signed_at__gte=midnight).exists()
        assert not BankReading.objects.filter(read_at__gte=midnight).exists()
        assert not WorkRecord.objects.filter(done_on__gte=self.day).exists()

    def test_each_role_has_an_account_of_a_person(self) -> None:
        for sign_in in demo_sign_ins():
            user = User.objects.get(username=sign_in.username)
            assert user.check_password(sign_in.password)
            assert Person.objects.filter(user=user).exists()
            assert list(user.memberships.values_list("role", flat=True)) == [sign_in.username]

    def test_the_data_folder_is_marked(self) -> None:
        assert (self.folder / "demo-data").is_file()

    def test_a_second_load_does_nothing(self) -> None:
        events = Event.objects.count()
        assert load(self.day + timedelta(days=3)).report is None
        assert Event.objects.count() == events

    def test_other_records_beside_it_are_refused(self) -> None:
        make.site()
        with pytest.raises(DemoError, match="other records"):
            load(self.day)

    def test_two_years_of_about_120_items_and_14_people_are_there(self) -> None:
        assert 110 <= Equipment.objects.count() <= 130
        assert Person.objects.count() == 14
        first = signed("signed_at")
        assert datetime.combine(self.day, datetime.min.time(), UTC) - first > timedelta(days=725)


class DemoOnADayOf25Hours(LoadedDemo):
    """Shifted to the day on which the clocks of Oslo go back (zoneinfo: 26 October 2025)."""

    day = date(2025, 10, 26)

    def test_the_day_has_25_hours_and_something_is_ready_at_each(self) -> None:
        assert len(self.hours()) == 26  # 25 full hours and the last minute
        self.assert_every_hour_has_both()

    def test_days_and_times_of_day_move_together(self) -> None:
        newest = signed("-signed_at")
        assert newest.astimezone(ZoneInfo("Europe/Oslo")).strftime("%Y-%m-%d %H:%M") == "2025-10-25 20:41"
        assert shift_to(self.day) == date(2025, 10, 26) - date(2026, 2, 12)


@pytest.mark.django_db
def test_real_records_are_never_mixed_with_the_demo(tmp_path: Path) -> None:
    make.site()
    with override_settings(DATA_DIR=tmp_path), pytest.raises(DemoError, match="other records"):
        load(date(2026, 2, 12))
    assert Site.objects.count() == 1
    assert not (tmp_path / "demo-data").exists()


@pytest.mark.django_db
def test_an_account_that_is_there_is_not_given_a_known_password(tmp_path: Path) -> None:
    make.user(username="supervisor")
    with override_settings(DATA_DIR=tmp_path), pytest.raises(DemoError, match="other records"):
        load(date(2026, 2, 12))


def test_the_tests_folder_is_not_a_demo() -> None:
    assert not settings.DEMO
