"""Worksheets: reliability in plain numbers, comparison of two gauges or clocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import Output, Worksheet
from facility.compute.worksheet_inputs import number, numbers, optional, text, whole
from maintenance.compute.distributions import poisson_at_most
from maintenance.compute.pairs import compare_clocks, compare_gauges
from maintenance.compute.reliability import (
    all_in_date,
    enough_good,
    hidden_unavailability,
    mtbf,
    spares,
)
from maintenance.worksheets.common import UPKEEP, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

SHARE = ("0.01", "0.9999")


def _mtbf(given: Given) -> dict[str, object]:
    found = mtbf(given.real("hours"), given.whole("failures"), given.real("confidence"))
    return {
        "mtbf": found.point,
        "lower_bound_one_sided": found.lower_one_sided,
        "lower_bound": found.lower,
        "upper_bound": found.upper,
        "failures": given.whole("failures"),
    }


MTBF = Worksheet(
    name="mtbf",
    title=_("Mean time between failures, with bounds"),
    inputs=(
        number("hours", "h", 800, (">0", "1000000000"), _("time under observation, all items together")),
        whole("failures", "1", 2, ("0", "10000"), _("counted failures")),
        number("confidence", "1", "0.90", SHARE, _("of the bounds")),
    ),
    outputs=(
        Output("mtbf", "h", _("none with one failure or none")),
        Output("lower_bound_one_sided", "h", _("at least this")),
        Output("lower_bound", "h", _("two-sided; none with one failure or none")),
        Output("upper_bound", "h", _("two-sided; none with one failure or none")),
        Output("failures", "1", _("the count that this rests on")),
    ),
    source="NIST/SEMATECH e-Handbook of statistical methods, 8.4.5.1",
    formula=_("lower = 2 T / chi-square(1 - a/2; 2 r + 2), upper = 2 T / chi-square(a/2; 2 r); one-sided: 1 - a"),
    caution=UPKEEP,
    compute=_mtbf,
)


def _spares(given: Given) -> dict[str, object]:
    mean = given.real("use_per_month") * given.real("lead_time_months")
    stock = spares(mean, given.real("wanted"))
    return {"expected_use": mean, "spares": stock, "chance_enough": poisson_at_most(stock, mean)}


SPARES = Worksheet(
    name="spares",
    title=_("Spares for a lead time"),
    inputs=(
        number("use_per_month", "1/month", "0.5", ("0", "100"), _("mean use")),
        number("lead_time_months", "months", 2, ("0", "5"), _("from order to shelf")),
        number("wanted", "1", "0.95", SHARE, _("chance that the stock lasts")),
    ),
    outputs=(
        Output("expected_use", "1", _("in the lead time")),
        Output("spares", "1", _("smallest stock that suffices")),
        Output("chance_enough", "1", _("with that stock")),
    ),
    source="Poisson distribution",
    formula=_("smallest s with P(use <= s) >= wanted, use Poisson with mean rate x lead time"),
    caution=UPKEEP,
    compute=_spares,
    from_memory=True,
)


def _hidden(given: Given) -> dict[str, object]:
    approximate, exact = hidden_unavailability(given.real("failure_rate"), given.real("test_interval"))
    return {"unavailability_approximate": approximate, "unavailability": exact}


HIDDEN_FAILURE = Worksheet(
    name="hidden_failure",
    title=_("Failures that only a test shows"),
    inputs=(
        number("failure_rate", "1/h", "0.00001", ("0", "1"), _("of the relief valve, deluge, alarm")),
        number("test_interval", "h", 4380, (">0", "1000000"), _("between two tests")),
    ),
    outputs=(
        Output("unavailability_approximate", "1", _("rate x interval / 2")),
        Output("unavailability", "1", _("mean share of time in which it would not work")),
    ),
    source="exponential life; formula from memory",
    formula=_("1 - (1 - exp(-rate x interval)) / (rate x interval)"),
    caution=UPKEEP,
    compute=_hidden,
    from_memory=True,
)


def _in_date(given: Given) -> dict[str, object]:
    return {
        "all_in_date": all_in_date([float(one) for one in given.numbers("chances")]),
        "enough_good": enough_good(given.whole("wanted"), given.whole("of"), given.real("chance")),
    }


IN_DATE_CHANCE = Worksheet(
    name="in_date_chance",
    title=_("Chance that everything is in date, and that enough of many are good"),
    inputs=(
        numbers("chances", "1", ["0.99", "0.98", "0.97", "0.995"], ("0", "1"), _("of each critical item, independent")),
        whole("wanted", "1", 4, ("0", "1000"), _("items that must be good")),
        whole("of", "1", 6, ("1", "1000"), _("like items, for example masks")),
        number("chance", "1", "0.95", ("0", "1"), _("that one of them is good")),
    ),
    outputs=(
        Output("all_in_date", "1", _("product of the chances")),
        Output("enough_good", "1", _("at least wanted of the like items")),
    ),
    source="independent chances; binomial distribution",
    formula=_("product of the chances; sum of binomial terms from wanted on"),
    caution=UPKEEP,
    compute=_in_date,
    from_memory=True,
)


def _gauges(given: Given) -> dict[str, object]:
    found = compare_gauges(
        given.number("first"),
        given.number("second"),
        given.number("full_scale"),
        values("comparisons.toml")["gauge_pair"].number,
        given.text("unit"),
    )
    return {"difference": found.difference, "limit": found.limit, "needs_test": found.needs_test}


TWO_GAUGES = Worksheet(
    name="two_gauges",
    title=_("Two gauges on one line"),
    inputs=(
        optional(text("unit", "fsw", _("unit of the readings"))),
        number("first", "unit", 165, ("-1000000", "1000000"), _("gauge")),
        number("second", "unit", 160, ("-1000000", "1000000"), _("gauge")),
        number("full_scale", "unit", 250, (">0", "1000000"), _("of like range")),
    ),
    outputs=(
        Output("difference", "unit", _("size")),
        Output("limit", "unit", _("more than this asks for a test")),
        Output("needs_test", "", _("exactly at the limit does not")),
    ),
    source="46 CFR 197.458(b)",
    formula=_("|first - second| > 2 % of full scale"),
    caution=UPKEEP,
    compute=_gauges,
    rests_on=chosen("comparisons.toml", "gauge_pair"),
)


def _clocks(given: Given) -> dict[str, object]:
    table = values("comparisons.toml")
    apart = given.number("apart_at_end") - given.number("apart_at_start")
    found = compare_clocks(
        apart, given.number("span"), table["clock_pair.difference"].number, table["clock_pair.span"].number
    )
    return {
        "drift": found.difference,
        "limit": found.limit,
        "needs_test": found.needs_test,
        "constant_offset": given.number("apart_at_start"),
    }


TWO_CLOCKS = Worksheet(
    name="two_clocks",
    title=_("Two clocks"),
    inputs=(
        number("apart_at_start", "s", 3, ("-86400", "86400"), _("second less first")),
        number("apart_at_end", "s", 20, ("-86400", "86400"), _("second less first")),
        number("span", "h", 4, (">0", "8760"), _("between the two looks")),
    ),
    outputs=(
        Output("drift", "s", _("how far they ran apart")),
        Output("limit", "s", _("for this span; more asks for a test")),
        Output("needs_test", "", _("exactly at the limit does not")),
        Output("constant_offset", "s", _("reported apart; no drift")),
    ),
    source="46 CFR 197.458(c)",
    formula=_("|apart at end - apart at start| > 15 s x span / 4 h"),
    caution=UPKEEP,
    compute=_clocks,
    rests_on=chosen("comparisons.toml", "clock_pair.difference", "clock_pair.span"),
)
