"""How long the answer takes: from rows, against the pure function and against fetching the rows alone.

Limits: design goals of this project; common practice, no source. Every figure is a ratio
of two times of one run, so that the machine cancels out; the pure function's own 10 ms apart.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from http import HTTPStatus

from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from facility import house
from facility.compute.facts import Facility
from facility.compute.forecast import forecast_all
from facility.compute.instants import instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber
from facility.project.bench import floor
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, Size, facilities, scratch_database
from facility.readiness.gather import AT_ONCE, gather, scope_of
from facility.readiness.services import answers

PURE_LIMIT_MS = 10.0
PARTIES_LIMIT_MS = 30.0
QUERY_LIMIT = 12.0
PAGE_LIMIT = 1.2
FLOOR_LIMIT = 1.3
LINEAR_LIMIT = 1.2
FORECAST_LIMIT = 25.0
MANY, FEW = 1000, 10
PARTIES = Size(plans=36, months=12)
SMALL = Size(items=40, people=8, plans=4, needs=20, months=1)


def seconds(acts: Sequence[Callable[[], object]], times: int) -> list[float]:
    """Return the shortest time of each act, taken by turns, so that a busy machine slows all alike."""
    taken: list[list[float]] = [[] for _ in acts]
    for _ in range(times):
        for place, act in enumerate(acts):
            begun = clock()
            act()
            taken[place].append(clock() - begun)
    return [min(one) for one in taken]


def clock() -> float:
    """Return this process's own time where the database runs in it, so that other programs do not count."""
    return time.process_time() if connection.vendor == "sqlite" else time.perf_counter()


def pure_function() -> Result:
    """300 items, 30 people, 12 plans, ten years of records gathered: the function alone."""
    with scratch_database():
        chambers = facilities(1, Size())
        (facts,) = gather(chambers, AT).values()
        (taken,) = seconds([lambda: evaluate(facts, instant_of(AT))], 15)
    return Result("readiness of 12 plans, pure function", taken * 1000, PURE_LIMIT_MS, "ms")


def many_plans() -> Result:
    """300 items, 30 people, 12 tables for 3 parties each: the function alone."""
    with scratch_database():
        (facts,) = gather(facilities(1, PARTIES), AT).values()
        if len(facts.plans) != PARTIES.plans:
            raise RuntimeError(f"{len(facts.plans)} plans instead of {PARTIES.plans}.")
        (taken,) = seconds([lambda: evaluate(facts, instant_of(AT))], 9)
    return Result("readiness of 12 tables for 3 parties, pure function", taken * 1000, PARTIES_LIMIT_MS, "ms")


def many_plans_queries() -> Result:
    """Queries of the whole Now page with 12 tables for 3 parties each."""
    with scratch_database():
        (chamber,) = facilities(1, PARTIES)
        client = _signed_in()
        with CaptureQueriesContext(connection) as asked:
            _page(client, chamber)
    return Result("queries of the Now page, 12 tables for 3 parties", len(asked), QUERY_LIMIT, "queries")


def forecast() -> Result:
    """Ninety days of 12 plans of the same facility, against one evaluation of the 12."""
    with scratch_database():
        (facts,) = gather(facilities(1, Size()), AT).values()
        at = instant_of(AT)
        ahead, one = seconds([lambda: forecast_all(facts, at), lambda: evaluate(facts, at)], 9)
    return Result("forecast of 90 days against one evaluation", ahead / one, FORECAST_LIMIT, "times")


def now_page_queries() -> Result:
    """Queries of the whole Now page, session and account included."""
    with scratch_database():
        (chamber,) = facilities(1, Size(months=1))
        client = _signed_in()
        with CaptureQueriesContext(connection) as asked:
            _page(client, chamber)
    return Result("queries of the Now page", len(asked), QUERY_LIMIT, "queries")


def now_page_years() -> Result:
    """The Now page with ten years of records against the same with one month, both in one database."""
    with scratch_database():
        (old,) = facilities(1, Size(), prefix="old")
        (young,) = facilities(1, Size(months=1), prefix="young")
        client = _signed_in()
        years, month = seconds([partial(_page, client, old), partial(_page, client, young)], 15)
    return Result("Now page, ten years against one month", years / month, PAGE_LIMIT, "times")


def many_chambers(number: int = MANY) -> Result:
    """A thousand chambers against fetching the same rows as tuples and the pure function alone."""
    with scratch_database():
        chambers = facilities(number, SMALL)
        whole, rows = seconds([partial(_answers, chambers), partial(_tuples, chambers)], 3)
        facts = list(gather(chambers, AT).values())  # only now: what stays slows the collector of all that follows
        (alone,) = seconds([partial(_evaluations, facts)], 3)
    note = f"rows {rows:.2f} s, function {alone:.2f} s"
    return Result("1000 chambers against rows and function", whole / (rows + alone), FLOOR_LIMIT, "times", note)


def linear() -> Result:
    """A chamber of a thousand against a chamber of ten."""
    with scratch_database():
        chambers = facilities(MANY, SMALL)
        few, many = seconds([partial(_answers, chambers[:FEW]), partial(_answers, chambers)], 3)
    return Result("time per chamber, 1000 against 10", many / MANY / (few / FEW), LINEAR_LIMIT, "times")


def _evaluations(facilities_: Iterable[Facility]) -> None:
    for facts in facilities_:
        evaluate(facts, instant_of(AT))


def _answers(chambers: list[Chamber]) -> int:
    return sum(len(answer.evaluations) for answer in answers(chambers, AT))


def _tuples(chambers: list[Chamber]) -> int:
    """Fetch the same rows as tuples, as many chambers at once as the gathering does."""
    found = 0
    for begin in range(0, len(chambers), AT_ONCE):
        part = chambers[begin : begin + AT_ONCE]
        rules = house.values_of([chamber.site_id for chamber in part])
        found += floor.fetched(scope_of(part, AT, rules))
    return found


def _signed_in() -> Client:
    user = get_user_model()._default_manager.create(username="bench", is_superuser=True)
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    return client


def _page(client: Client, chamber: Chamber) -> None:
    answer = client.get(f"/{chamber.site.key}/now/")
    if answer.status_code != HTTPStatus.OK:
        raise RuntimeError(f"The Now page answered {answer.status_code}.")
