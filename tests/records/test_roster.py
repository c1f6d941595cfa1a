"""The band of duty on People, in words and in place."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from facility import services
from facility.models import DutyPeriod, Person
from facility.records.roster import ROSTER_DAYS, days_of, roster_of
from facility.records.states import Moment, moment_of
from tests import make

pytestmark = pytest.mark.django_db
OSLO = ZoneInfo("Europe/Oslo")
TODAY = date(2026, 11, 25)


@pytest.fixture
def person() -> Person:
    return make.person(make.site(zone="Europe/Oslo"))


@pytest.fixture
def moment(person: Person) -> Moment:
    return moment_of(person.site, datetime(2026, 11, 25, 9, 0, tzinfo=UTC))


def duty(of: Person, start: datetime, hours: int, *, on_call: bool = False) -> None:
    """Store a duty period."""
    end = start + timedelta(hours=hours)
    services.add(DutyPeriod(person=of, starts_at=start, ends_at=end, on_call=on_call), by=make.BY)


def local(day: date, hour: int) -> datetime:
    """Return an hour by the clock of the site."""
    return datetime.combine(day, time(hour), OSLO)


def test_days_at_the_same_hours_share_a_sentence_and_each_month_is_named_once(person: Person, moment: Moment) -> None:
    for ahead in (0, 1, 6, 7):  # 25, 26 Nov and 1, 2 Dec
        duty(person, local(TODAY + timedelta(days=ahead), 7), 8)
    (line,) = roster_of(person.site, [person], moment)
    assert line.said == ("On site 07:00 to 15:00 on 25, 26 Nov 2026; 1, 2 Dec 2026",)
    assert len(line.bars) == 4


def test_a_period_over_days_is_said_from_when_to_when(person: Person, moment: Moment) -> None:
    duty(person, local(TODAY - timedelta(days=3), 8), 7 * 24, on_call=True)
    (line,) = roster_of(person.site, [person], moment)
    assert line.said == ("On call Sun 22 Nov 2026 08:00 to Sun 29 Nov 2026 08:00",)
    assert line.bars[0].left == "0.00%"
    # by hand: from midnight to 29 Nov 08:00 are 4 days and 8 h of 14 days
    assert float(line.bars[0].width.rstrip("%")) == pytest.approx(100 * (4 + 8 / 24) / ROSTER_DAYS, abs=0.01)


def test_somebody_without_duty_has_a_line_without_bars(person: Person, moment: Moment) -> None:
    (line,) = roster_of(person.site, [person], moment)
    assert (line.bars, line.said) == ((), ())


def test_the_band_begins_today_and_has_fourteen_days(moment: Moment) -> None:
    days = days_of(moment)
    assert (days[0].left, days[0].weekday, days[0].number) == ("0.00%", "Wed", "25")
    assert (days[-1].weekday, days[-1].number) == ("Tue", "8")
