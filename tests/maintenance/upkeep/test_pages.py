"""Pages of what falls due: what they show, what they refuse, and that nothing typed is lost."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import Site, SiteRole
from maintenance.models import CounterReading, Deferral, Happening, IntervalRule, MeterReplacement
from tests import make
from tests.maintenance.upkeep import support as up

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make.site()


def client_of(site: Site, role: str = SiteRole.DIRECTOR) -> Client:
    client = Client()
    client.force_login(make.user(site, role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def page(name: str, site: Site, *more: Any) -> str:
    return reverse(f"maintenance:{name}", args=[site.key, *more])


def ago(days: int) -> date:
    return events.now().date() - timedelta(days=days)


def test_the_list_names_overdue_unknown_soon_and_later_with_their_causes(site: Site) -> None:
    item = make.equipment(site, tag="VP-1", in_service_on=ago(3600))
    make.rule(item, name="never done", months=6)
    make.work(make.rule(item, name="old test", months=6), ago(400))
    make.work(make.rule(item, name="young test", months=6), ago(170))
    make.work(make.rule(item, name="fresh test", months=6), ago(120))
    make.rule(item, name="life", months=0, life_months=600)
    text = client_of(site).get(page("due", site)).content.decode()
    assert "2 acts are overdue or not known" in text
    for words in ("never recorded", "old test", "young test", "fresh test"):
        assert words in text
    assert "life by age" not in text  # beyond 90 days


def test_the_list_can_be_narrowed_to_a_kind_of_item(site: Site) -> None:
    make.work(make.rule(make.equipment(site, tag="CLK-9", kind="clock"), months=1), ago(90))
    make.work(make.rule(make.equipment(site, tag="DG-9"), months=1), ago(90))
    text = client_of(site).get(page("due", site), {"kind": "clock", "days": "nonsense"}).content.decode()
    assert "CLK-9" in text
    assert "DG-9" not in text


def test_a_lower_reading_is_not_taken_and_leads_to_the_replaced_meter_with_what_was_typed(site: Site) -> None:
    hours = up.counter(site, unit="hours", name="Hours")
    up.reading(hours, ago(10), "900.5")
    client = client_of(site)
    typed = {"read_at": f"{ago(1):%Y-%m-%d} 08:00", "value": "3,5", "read_by": "Bo", "note": ""}
    answer = client.post(page("read_counter", site, hours.pk), typed)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "a counter only goes up" in text
    assert 'value="3,5"' in text
    assert CounterReading.objects.count() == 1
    onward = answer.context["replace"]
    shown = client.get(onward).context["form"]
    assert shown["value"].value() == "3.5"
    assert shown["last_of_old"].value() == "900.50"
    sent = {
        "replaced_on": ago(1).isoformat(), "last_of_old": "901", "first_of_new": "0", "value": "3.5", "why": "worn",
        "done_by": "Bo",
    }  # fmt: skip
    assert client.post(onward, sent).status_code == 302
    text = client.get(page("counter", site, hours.pk)).content.decode()
    assert "904.5" in text  # 901 + 3.5 - 0
    assert MeterReplacement.objects.get().last_of_old == Decimal(901)
    assert CounterReading.objects.count() == 2


def test_an_old_meter_cannot_end_below_what_was_read_of_it(site: Site) -> None:
    hours = up.counter(site)
    up.reading(hours, ago(10), "900")
    sent = {"replaced_on": ago(1).isoformat(), "last_of_old": "899", "first_of_new": "0", "why": "x", "done_by": "Bo"}
    answer = client_of(site).post(page("replace_meter", site, hours.pk), sent)
    assert answer.status_code == 422
    assert "less than the 900.00 that it showed" in answer.content.decode()


def test_a_look_before_the_due_day_or_at_the_hard_stop_puts_nothing_off(site: Site) -> None:
    """UFC 3-430-07: six years, put off to the next three-year look if clean, never beyond twelve."""
    vessel = make.rule(make.equipment(site), months=72, defer_months=36, hard_stop_months=144)
    client, address = client_of(site), page("defer", site, vessel.pk)
    looked = {"no_damage": "yes", "looked_by": "Bo", "approved_by": "Ina", "why": "no corrosion"}
    answer = client.post(address, looked | {"looked_on": ago(1).isoformat()})
    assert "never recorded" in answer.content.decode()
    make.work(vessel, ago(300))
    answer = client.post(address, looked | {"looked_on": ago(1).isoformat()})
    assert answer.status_code == 422
    assert "puts nothing off" in answer.content.decode()
    assert "Bo" in answer.content.decode()
    early = make.rule(make.equipment(site), months=72, defer_months=36, hard_stop_months=144)
    make.work(early, ago(6 * 366))
    assert client.post(page("defer", site, early.pk), looked | {"looked_on": ago(0).isoformat()}).status_code == 302
    stopped = make.rule(make.equipment(site), months=1, defer_months=1, hard_stop_months=2)
    make.work(stopped, ago(400))
    up.look(stopped, ago(300))
    answer = client.post(page("defer", site, stopped.pk), looked | {"looked_on": ago(0).isoformat()})
    assert "hard stop" in answer.content.decode()
    assert Deferral.objects.count() == 2


def test_damage_found_by_a_look_is_always_taken(site: Site) -> None:
    vessel = make.rule(make.equipment(site), months=72, defer_months=36, hard_stop_months=144)
    make.work(vessel, ago(300))
    sent = {
        "no_damage": "no",
        "looked_by": "Bo",
        "approved_by": "Ina",
        "why": "pitting",
        "looked_on": ago(1).isoformat(),
    }
    assert client_of(site).post(page("defer", site, vessel.pk), sent).status_code == 302
    assert not Deferral.objects.get().no_damage


def test_an_event_makes_the_acts_due_that_name_it(site: Site) -> None:
    item = make.equipment(site)
    make.work(make.rule(item, name="leak test", months=24, triggers="moved"), ago(30))
    sent = {"equipment": item.pk, "kind": "moved", "happened_on": ago(2).isoformat(), "note": "", "reported_by": "Bo"}
    client = client_of(site)
    answer = client.post(page("add_happening", site), sent, follow=True)
    assert "It asks anew for: leak test." in answer.content.decode()
    assert Happening.objects.get().kind == "moved"
    assert "1 act is overdue or not known" in client.get(page("due", site)).content.decode()
    late = client.post(page("add_happening", site), sent | {"happened_on": ago(-2).isoformat()})
    assert late.status_code == 422
    assert "lies after today" in late.content.decode()


def test_the_page_of_a_rule_shows_each_side_with_what_it_is_reckoned_from(site: Site) -> None:
    """C22: in service 1 March 2019, 7300 cycles on 1 March 2026, limits 10 years and 10 000 cycles: 1 October 2028."""
    cycles = up.counter(site)
    item = make.equipment(site, in_service_on=date(2019, 3, 1))
    window = make.rule(item, name="design life", months=0, counter=cycles, count_life=Decimal(10000), life_months=120)
    up.reading(cycles, date(2019, 3, 1), "0")
    up.reading(cycles, date(2026, 3, 1), "7300")
    text = client_of(site).get(page("rule", site, window.pk)).content.decode()
    assert "1 Oct 2028" in text
    assert "1 Mar 2029" in text
    assert "(10000 - 7300)" in text
    assert "7300 of 10000" in text


def test_a_changed_interval_of_an_adopted_rule_needs_a_reason_and_who_approved(site: Site) -> None:
    chosen = make.equipment(site, kind="vessel", tag="HULL")
    client = client_of(site)
    adopted = {
        "items": [chosen.pk], "months": "24", "anchor": "floating", "window_kind": "none", "effect": "stops", "counts": "on",
        "triggers": ["installed", "moved", "overhauled", "repaired"], "house_reason": "", "approved_by": "",
    }  # fmt: skip
    answer = client.post(page("adopt", site, "P1"), adopted)
    assert answer.status_code == 422  # P2 and P4 say another thing of the same matter
    assert "Codes say different things" in answer.content.decode()
    why = {"house_reason": "the Navy's is the stricter", "approved_by": "Dr Ina"}
    assert client.post(page("adopt", site, "P1"), adopted | why).status_code == 302
    rule = IntervalRule.objects.get()
    assert (rule.requirement, rule.months, rule.standing) == ("P1", 24, "retrieved")
    assert "moved" in rule.triggers
    listed = client.get(page("requirements", site)).content.decode()
    assert "Where the house differs" not in listed
    sent = adopted | {
        "name": rule.name, "months": "36", "standing": "retrieved", "source": rule.source, "reason": "longer",
        "shown_version": rule.row_version,
    }  # fmt: skip
    sent.pop("items")
    answer = client.post(page("rule", site, rule.pk), sent)
    assert answer.status_code == 422
    assert "code 24 months, house 36 months" in answer.content.decode()
    assert client.post(page("rule", site, rule.pk), sent | why).status_code == 302
    assert "code 24 months, house 36 months" in client.get(page("requirements", site)).content.decode()


def test_rules_from_memory_are_shown_as_unconfirmed_and_conflicts_side_by_side(site: Site) -> None:
    text = client_of(site, SiteRole.INSPECTOR).get(page("requirements", site)).content.decode()
    assert "unconfirmed: from memory" in text
    assert "Where codes differ, side by side" in text
    assert "authority having jurisdiction prevail" in text
    assert "Take it on" not in text
    navy = client_of(site).get(page("requirements", site), {"where": "US Navy"}).content.decode()
    assert 'id="P1"' in navy
    assert 'id="P2"' not in navy  # of the United States' regulation


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"window_kind": "percentage", "window_percent": "60"}, "more than 0 and at most 50"),
        ({"window_kind": "symmetric", "window_months": "6"}, "reaches over the whole interval"),
        ({"window_kind": "after the last act"}, "needs months or days after"),
        ({"months": "0"}, "never falls due"),
        ({"count_every": "500"}, "Name the counter"),
        ({"defer_months": "6"}, "needs a hard stop"),
    ],
)
def test_a_rule_that_cannot_be_is_refused_with_what_was_typed(site: Site, fields: dict[str, str], words: str) -> None:
    rule = make.rule(make.equipment(site), months=6)
    sent = {
        "name": "a typed name", "months": "6", "anchor": "floating", "window_kind": "none", "effect": "stops",
        "standing": "site", "reason": "x", "shown_version": rule.row_version,
    }  # fmt: skip
    answer = client_of(site).post(page("rule", site, rule.pk), sent | fields)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert "a typed name" in answer.content.decode()


def test_a_run_raises_the_counters_of_its_chamber_once(site: Site) -> None:
    from maintenance.upkeep.services import add_run

    chamber = make.chamber(site)
    cycles = up.counter(site, chamber=chamber)
    hours = up.counter(site, chamber=chamber, unit="hours", per_run=Decimal(0), per_hour=Decimal(1))
    up.counter(site, chamber=chamber)  # never read: stays not known
    up.reading(cycles, date(2026, 1, 1), "41")
    up.reading(hours, date(2026, 1, 1), "100")
    up.replaced(hours, date(2026, 1, 2), "100", "0")
    begun = datetime(2026, 1, 3, 8, 0, tzinfo=UTC)
    stored = add_run(chamber, begun, begun + timedelta(minutes=150), 7, make.BY)
    assert [(one.counter_id, one.value) for one in stored] == [
        (cycles.pk, Decimal("42.00")),
        (hours.pk, Decimal("2.50")),
    ]
    assert add_run(chamber, begun, begun + timedelta(minutes=150), 7, make.BY) == []


def test_the_pages_ask_the_same_queries_with_ten_times_the_rules(
    site: Site, django_assert_max_num_queries: Any
) -> None:
    client = client_of(site)

    def fill(count: int) -> None:
        for _ in range(count):
            cycles = up.counter(site)
            up.reading(cycles, ago(3), "5")
            rule = make.rule(make.equipment(site), counter=cycles, count_life=Decimal(9), triggers="moved")
            make.work(rule, ago(9))

    fill(1)
    for name in ("due", "counters", "requirements"):
        client.get(page(name, site))
        with django_assert_max_num_queries(14) as few:
            client.get(page(name, site))
        fill(5)
        with django_assert_max_num_queries(len(few)):
            client.get(page(name, site))
