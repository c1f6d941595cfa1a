"""Now and Why as they are sent: words, marks, text twins, and nothing that the strict policy would stop."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from django.template.loader import render_to_string
from django.test import Client

from tests.facility.readiness_pages import sample

pytestmark = pytest.mark.urls("tests.facility.readiness_pages.pages_urls")
PAGES = ["/now/", "/empty/", "/why/0/", "/why/1/", "/why/2/", "/why/3/", "/sign-in/"]


class Reader(HTMLParser):
    """Collects what the strict policy forbids, ids, and the words that are read out."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.forbidden: list[str] = []
        self.ids: list[str] = []
        self.words: list[str] = []
        self.viewboxes = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        self.forbidden += [f"{tag} {name}" for name in names if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in names):
            self.forbidden.append(tag)
        if names.get("id"):
            self.ids.append(str(names["id"]))
        self.viewboxes += "viewbox" in names

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def read(address: str) -> Reader:
    answer = Client().get(address)
    assert answer.status_code == 200
    return Reader(answer.content.decode())


@pytest.mark.parametrize("address", PAGES)
def test_a_page_has_no_inline_style_or_script_and_no_id_twice(address: str) -> None:
    page = read(address)
    assert page.forbidden == []
    assert len(page.ids) == len(set(page.ids))
    assert page.viewboxes == 0  # pictures stretch in per cent, their text does not


def test_the_now_page_says_each_state_in_words_with_its_horizon_and_reason() -> None:
    words = re.sub(r"\s+", " ", " ".join(read("/now/").words))
    for said in (
        "Table 5 can start now. 6 can start now, with limits. 6A cannot. 9 is not known.",
        "Ready with limits", "Start before 18:00 today", "Not ready", "Not before 17:10 today", "Not known",
        "412 m³ counted, 538 m³ needed.", "Call first", "+00 5550 1401", "Oxygen by mask at the surface.",
        "Invented data", "the supervisor and the physician decide",
    ):  # fmt: skip
        assert said in words, said


def test_whom_to_call_stands_after_the_tables_while_one_can_start() -> None:
    page = "".join(read("/now/").words)
    assert page.index("Ready with limits") < page.index("Call first")


def test_whom_to_call_stands_before_the_reasons_of_a_table_that_cannot_start() -> None:
    page = "".join(read("/why/2/").words)
    assert page.index("Call first") < page.index("Good until")


def test_a_picture_has_a_twin_in_words() -> None:
    words = re.sub(r"\s+", " ", " ".join(read("/now/").words))
    for name in (sample.NAMES["vessel"], "Overboard dump, seat 3 not known", "Crew 01:00"):
        assert name in words, name


def test_an_empty_site_says_what_is_not_known_and_what_to_do() -> None:
    words = " ".join(read("/empty/").words)
    assert "Until one is, gas is not known." in words
    assert "Run 214, elapsed" in words
    assert "1 h 23" in words


def test_the_light_of_this_device_holds_before_anyone_signs_in() -> None:
    client = Client()
    client.cookies["light"] = "night"
    assert 'data-mode="night"' in client.get("/sign-in/").content.decode()
    client.cookies["light"] = "neon"
    assert 'data-mode="day"' in client.get("/sign-in/").content.decode()


@pytest.mark.parametrize("name", ["403.html", "404.html", "500.html"])
def test_an_error_page_needs_nothing_and_clears_no_draft(name: str) -> None:
    page = render_to_string(name)
    assert 'data-outcome="lost"' in page
    assert Reader(page).forbidden == []
