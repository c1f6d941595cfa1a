"""What is remembered of a plain interval is what is reckoned anew, for every act and interval tried."""

from __future__ import annotations

import json
from datetime import date, timedelta

from maintenance.compute.rule_due import reckon
from maintenance.readiness.rule_rows import RuleRow, past_of, terms_of
from maintenance.upkeep.state import _of_plain
from tests.strategies import seeded


def test_a_remembered_interval_is_the_same_as_one_reckoned_anew() -> None:
    chance = seeded(7)
    for _ in range(400):
        done = date(2024, 1, 1) + timedelta(days=chance.randint(0, 900))
        due = chance.choice((None, str(done + timedelta(days=chance.randint(1, 400)))))
        passed = chance.choice((None, [str(done), due, chance.choice((0, 1)), chance.choice((None, "second look"))]))
        months, days = chance.choice(((0, 0), (1, 0), (12, 0), (0, 90), (6, 15)))
        row = RuleRow("act", months, days, 0, "", passed, None, None)
        past = past_of(row, "Europe/Oslo")
        expected = (past, reckon(terms_of(row), past, chance.randint(1, 365)))
        text = None if passed is None else json.dumps(passed)
        assert _of_plain(months, days, text) == expected
        assert _of_plain(months, days, text) == expected  # now remembered
