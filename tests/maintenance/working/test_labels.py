"""Wall tags and labels: what stands on them, their code, and that they fit on 50 mm by 25 mm."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
import segno
from django.urls import reverse

from facility import events
from facility.models import Site
from maintenance.models import Equipment, WorkRecord
from maintenance.services import record_work
from maintenance.working.labels import NextDue, next_dues
from tests import make
from tests.maintenance.working.support import signed_in

pytestmark = pytest.mark.django_db
CSS = Path(__file__).parents[3] / "facility" / "static" / "facility" / "tag.css"


@pytest.fixture
def item() -> Equipment:
    return make.equipment(make.site(), tag="IL-D1", name="Inner lock depth gauge")


def label_page(site: Site, *items: Equipment) -> str:
    query = "&".join(f"item={item.pk}" for item in items)
    client = signed_in(make.user(site, "inspector"))
    return client.get(f"{reverse('maintenance:labels', args=[site.key])}?{query}").content.decode()


def test_a_label_bears_tag_name_next_due_and_the_code_of_its_page(item: Equipment) -> None:
    make.work(make.rule(item, months=6), date(2026, 1, 31))
    text = label_page(item.site, item)
    # 31 January and six months: 31 July, by the calendar
    for words in ("IL-D1", "Inner lock depth gauge", "Due 31 Jul 2026", "calibration"):
        assert words in text
    address = "http://testserver" + reverse("maintenance:item", args=[item.site.key, item.pk])
    assert segno.make(address, error="m", micro=False).svg_data_uri(border=0, scale=1) in text.replace("&#x27;", "'")
    assert "<style" not in text


def test_the_first_act_to_fall_due_stands_on_it_and_what_was_never_done_is_said(item: Equipment) -> None:
    make.work(make.rule(item, months=6), date(2026, 1, 31))
    make.work(make.rule(item, name="function test", months=1), date(2026, 3, 12), due_on=date(2026, 4, 1))
    make.rule(item, name="service", months=12)
    found = next_dues([item], item.site, make.DAY)
    assert found == {item.pk: NextDue("function test", date(2026, 4, 1), open="service: never recorded")}


@pytest.mark.parametrize(
    ("fields", "word"),
    [({"needs_second_look": True}, "waits for a second look"), ({"result": "failed"}, "never recorded")],
)
def test_a_record_that_does_not_count_gives_no_day(item: Equipment, fields: dict[str, Any], word: str) -> None:
    rule = make.rule(item)
    today = events.now().date()
    record_work(WorkRecord(equipment=item, rule=rule, done_on=today, done_by="x", **fields), by=make.BY)
    assert next_dues([item], item.site, today)[item.pk] == NextDue(open=f"calibration: {word}")
    assert "Due: not known" in label_page(item.site, item)


def test_items_of_another_site_get_no_label_and_without_a_choice_there_is_a_list(item: Equipment) -> None:
    own = make.site()
    assert "IL-D1" not in label_page(own, item)
    assert "IL-D1" in label_page(item.site)


def test_labels_take_the_same_few_queries_however_many(item: Equipment, django_assert_max_num_queries: Any) -> None:
    client = signed_in(make.user(item.site, "inspector"))
    page = reverse("maintenance:labels", args=[item.site.key])
    with django_assert_max_num_queries(16) as few:
        client.get(f"{page}?item={item.pk}")
    more = [make.equipment(item.site) for _number in range(5)]
    with django_assert_max_num_queries(len(few)):
        client.get(f"{page}?" + "&".join(f"item={one.pk}" for one in more))


def test_the_label_is_fifty_by_twenty_five_millimetres_black_on_white() -> None:
    """The size of the labels that the trade prints for tags, common practice, no source."""
    text = CSS.read_text(encoding="utf-8")
    assert "@page { size: 50mm 25mm; margin: 0; }" in text
    assert "background: #fff; color: #000" in text
