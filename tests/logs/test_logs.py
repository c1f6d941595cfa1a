"""The log tells what went wrong and where, and never what people typed: planted words are looked for on every way."""

from __future__ import annotations

import io
import json
import logging
import sys
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from celery import shared_task
from django.db import DataError, IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse
from gunicorn.config import Config

from facility.jobs import runner, tasks
from facility.models import Job, User
from facility.project import env, logs
from facility.project.server_log import ServerLog
from tests import make

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

pytestmark = [pytest.mark.django_db, pytest.mark.both]
MARK = "Petronella Quistgaard b. 1961-04-12, ear pain"
FORMS = {"plain": logs.Plain, "json": logs.Json}


@pytest.fixture(params=FORMS)
def heard(request: pytest.FixtureRequest) -> Iterator[Callable[[], str]]:
    """Return what the log got, in each of its two forms, requests included."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(FORMS[request.param]())
    root, requests = logging.getLogger(), logging.getLogger(logs.REQUESTS)
    levels = root.level, requests.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    requests.setLevel(logging.INFO)
    yield stream.getvalue
    root.removeHandler(handler)
    root.setLevel(levels[0])
    requests.setLevel(levels[1])


@pytest.fixture
def lines() -> Iterator[Callable[[], list[dict[str, Any]]]]:
    """Return what the log got as JSON, each line read by itself."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(logs.Json())
    root, requests = logging.getLogger(), logging.getLogger(logs.REQUESTS)
    levels = root.level, requests.level
    root.addHandler(handler)
    requests.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in stream.getvalue().splitlines()]
    root.removeHandler(handler)
    root.setLevel(levels[0])
    requests.setLevel(levels[1])


def signed_in() -> tuple[Client, User]:
    client = Client(raise_request_exception=False)
    person = User.objects.create(username="quistgaard", is_superuser=True)
    client.force_login(person, "django.contrib.auth.backends.ModelBackend")
    return client, person


def nothing_typed(text: str) -> None:
    assert text
    for word in ("Petronella", "Quistgaard", "quistgaard", "1961-04-12", "ear pain"):
        assert word not in text


def failing(error: BaseException) -> Callable[..., Any]:
    def fail(*_rest: Any, **_more: Any) -> Any:
        raise error from ValueError(f"could not read {MARK!r}")

    return fail


@pytest.mark.parametrize(
    "error",
    [
        RuntimeError(MARK),
        KeyError(MARK),
        UnicodeDecodeError("utf-8", MARK.encode(), 0, 1, MARK),
        DataError(f'invalid input syntax for type integer: "{MARK}"'),
        IntegrityError(f'duplicate key value violates "one_name"\nDETAIL:  Key (name)=({MARK}) already exists.'),
        FileNotFoundError(2, "No such file or directory", f"/data/{MARK}.pdf"),
        ExceptionGroup(MARK, [RuntimeError(MARK)]),
    ],
    ids=lambda error: type(error).__name__,
)
def test_a_form_that_ends_in_a_fault_leaves_nothing_of_what_was_typed(
    heard: Callable[[], str], monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    """The words of an error repeat what was typed, as those of a database do with a row's values."""
    site, (client, _person) = make.site(), signed_in()
    monkeypatch.setattr("facility.records.views.enter", failing(error))
    answer = client.post(
        reverse("records:add", args=[site.key, "reading"]) + f"?who={MARK}", {"note": MARK, "person": MARK}
    )
    assert answer.status_code in (500, 503)
    text = heard()
    nothing_typed(text)
    assert type(error).__name__ in text
    assert "test_logs.py" in text, "the place of the fault is told"
    assert "ValueError" in text, "and the error behind it"


def test_what_the_system_itself_says_is_told(heard: Callable[[], str], monkeypatch: pytest.MonkeyPatch) -> None:
    site, (client, _person) = make.site(), signed_in()
    monkeypatch.setattr("facility.records.views.enter", failing(OperationalError("database is locked")))
    client.get(reverse("records:add", args=[site.key, "reading"]))
    assert "OperationalError: database is locked" in heard()


def test_an_address_that_is_not_there_is_not_repeated(heard: Callable[[], str]) -> None:
    client, _person = signed_in()
    assert client.get(f"/no/such/{MARK}/?q={MARK}").status_code == 404
    assert client.get("/nowhere-at-all/quistgaard/").status_code == 404
    text = heard()
    nothing_typed(text)
    assert "Not Found: " in text


def test_a_secret_in_an_address_is_not_told(heard: Callable[[], str]) -> None:
    """A reading link or a calendar is opened by whoever knows its address."""
    secret = "hW3kq9-secret-of-a-link"
    Client().get(f"/look/{secret}/")
    assert secret not in heard()


def test_a_wrong_password_tells_no_name(heard: Callable[[], str]) -> None:
    for _ in range(12):
        Client().post(reverse("accounts:login"), {"username": "quistgaard", "password": MARK})
    text = heard()
    nothing_typed(text)
    assert "axes" in text, "the lock-out itself is told"


@shared_task(name="tests.fall_with_words")
def fall_with_words(note: str = MARK) -> str:
    raise RuntimeError(note)


def test_a_job_that_fails_tells_its_number_and_nothing_of_its_arguments(
    heard: Callable[[], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(tasks.KINDS, "tidy", fall_with_words)
    job = Job.objects.create(kind="tidy", arguments={"note": MARK}, made_at=make.NOON, due_at=make.NOON)
    mine = runner.claim("a", now=make.NOON)
    assert mine == job
    assert not runner.run(mine, clock=lambda: make.NOON)
    nothing_typed(heard())
    job.refresh_from_db()
    assert MARK in job.error, "first accounts read the whole error on the page of the jobs"


@pytest.mark.parametrize("name", ["django.template", "axes.watch", "weasyprint", "celery.app.trace", "urllib3"])
def test_texts_of_libraries_are_withheld_and_their_numbers_kept(heard: Callable[[], str], name: str) -> None:
    logging.getLogger(name).setLevel(logging.NOTSET)
    logging.getLogger(name).error("%s of %d in %r", MARK, 3, [MARK])
    logging.getLogger(name).error("%(who)s: %(count)d", {"who": MARK, "count": 7})
    text = heard()
    nothing_typed(text)
    assert "(withheld) of 3 in (withheld)" in text
    assert "(withheld): 7" in text


@pytest.mark.parametrize(("template", "values"), [("%d", (MARK,)), ("%s", (MARK, MARK)), ("%(a)s", ({"b": MARK},))])
def test_a_message_that_does_not_fit_its_values_is_told_without_them(template: str, values: tuple[Any, ...]) -> None:
    record = logging.LogRecord("some.library", logging.ERROR, "x.py", 1, template, values, None)
    assert logs.message_of(record) == template


def test_our_own_words_are_kept_but_not_those_of_an_error(heard: Callable[[], str]) -> None:
    logging.getLogger("facility.trust.copies").warning("The head %s could not be mailed: %s", 40, RuntimeError(MARK))
    assert "The head 40 could not be mailed: RuntimeError" in heard()
    nothing_typed(heard())


def test_each_request_is_one_line_with_the_number_of_the_account(lines: Callable[[], list[dict[str, Any]]]) -> None:
    site, (client, person) = make.site(), signed_in()
    answer = client.get(reverse("readiness:now", args=[site.key]) + f"?q={MARK}")
    (line,) = [one for one in lines() if one["logger"] == "facility.requests"]
    assert answer.status_code == 200
    assert (line["method"], line["route"], line["site"], line["status"], line["account"]) == (
        "GET", "/<slug:site>/now/", site.key, 200, person.pk,
    )  # fmt: skip
    assert 0 < line["ms"] < 60_000
    assert line["level"] == "INFO"
    assert abs(datetime.fromisoformat(line["time"]) - datetime.now().astimezone()) < timedelta(minutes=5)
    assert answer["X-Request-Id"] == line["request_id"]
    assert len(line["request_id"]) == 16
    nothing_typed(json.dumps(line))


def test_the_fault_and_the_line_of_its_request_have_one_number(
    lines: Callable[[], list[dict[str, Any]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    site, (client, _person) = make.site(), signed_in()
    monkeypatch.setattr("facility.records.views.enter", failing(RuntimeError(MARK)))
    answer = client.get(reverse("records:add", args=[site.key, "reading"]))
    numbers = {one["logger"]: one["request_id"] for one in lines()}
    assert numbers["django.request"] == numbers["facility.requests"] == answer["X-Request-Id"]
    (fault,) = [one for one in lines() if one["logger"] == "django.request"]
    assert fault["message"].startswith("Internal Server Error: /<slug:site>/")
    assert site.key not in fault["message"]
    assert fault["error"][-1] == "RuntimeError"


def test_an_address_that_is_not_there_and_its_request_have_one_number(
    lines: Callable[[], list[dict[str, Any]]],
) -> None:
    """Django writes its own line when the answer has left this program's hands."""
    answer = Client().get("/no/such/address/")
    found = {one["logger"]: one["request_id"] for one in lines()}
    assert found == dict.fromkeys(("facility.requests", "django.request"), answer["X-Request-Id"])


def test_a_request_without_an_account_has_none_and_two_have_two_numbers(
    lines: Callable[[], list[dict[str, Any]]],
) -> None:
    for _ in range(2):
        Client().get("/healthz")
    found = [one for one in lines() if one["logger"] == "facility.requests"]
    assert [one["account"] for one in found] == [None, None]
    assert len({one["request_id"] for one in found}) == 2


def test_numbering_asks_no_database_and_static_files_have_no_line(
    lines: Callable[[], list[dict[str, Any]]], django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(0):
        Client().get("/healthz")
        Client().get("/static/facility/app.css").close()
    assert [one["route"] for one in lines() if one["logger"] == "facility.requests"] == ["/healthz"]


def test_words_with_lines_and_quotes_stay_one_line_of_json(lines: Callable[[], list[dict[str, Any]]]) -> None:
    """RFC 8259: a line break in a string is written as an escape."""
    logging.getLogger("facility.x").error('a\nb "c" \u2028 ä')
    assert lines()[-1]["message"] == 'a\nb "c" \u2028 ä'


def test_a_developer_reads_the_words_of_an_error(heard: Callable[[], str], settings: Any) -> None:
    settings.DEBUG = True
    logging.getLogger("facility.x").error("%s", RuntimeError("of an invented person"))
    assert "RuntimeError: of an invented person" in heard()


def test_an_unknown_form_of_the_log_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DEEPSTEAD_LOG_FORMAT", "xml")
    with pytest.raises(env.EnvError, match="Use one of: plain, json"):
        env.one_of("DEEPSTEAD_LOG_FORMAT", ("plain", "json"))
    for given, found in (("", "plain"), ("JSON", "json")):
        monkeypatch.setenv("DEEPSTEAD_LOG_FORMAT", given)
        assert env.one_of("DEEPSTEAD_LOG_FORMAT", ("plain", "json")) == found


def test_a_line_of_text_stays_one_line() -> None:
    record = logging.LogRecord("facility.x", logging.ERROR, "x.py", 1, "%s", ("a\nERROR forged: b",), None)
    assert logs.Plain().format(record) == "ERROR facility.x: a ERROR forged: b"


@pytest.mark.parametrize(("chosen", "is_json"), [("json", True), ("plain", False)])
def test_the_web_server_writes_in_the_same_form(monkeypatch: pytest.MonkeyPatch, chosen: str, is_json: bool) -> None:
    monkeypatch.setenv("DEEPSTEAD_LOG_FORMAT", chosen)
    server = ServerLog(Config())
    (handler,) = [one for one in server.error_log.handlers if getattr(one, "_gunicorn", False)]
    try:
        int(MARK)
    except ValueError:
        fault = sys.exc_info()
    record = server.error_log.makeRecord(
        "gunicorn.error", logging.ERROR, "x.py", 1, "Error handling request", (), fault
    )
    if is_json:
        told = json.loads(handler.format(record))
        assert (told["logger"], told["message"], told["error"][-1]) == (
            "gunicorn.error", "Error handling request", "ValueError",
        )  # fmt: skip
        nothing_typed(handler.format(record))
    else:
        assert type(handler.formatter) is logging.Formatter


def test_where_a_forged_form_came_from_is_not_repeated(heard: Callable[[], str]) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(reverse("accounts:login"), {"a": "b"}, headers={"origin": "https://petronella.example"})
    assert answer.status_code == 403
    assert "Origin checking failed" in heard()
    assert "petronella" not in heard()
