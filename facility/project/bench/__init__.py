"""Benchmarks: each tells a ratio to a floor or a limit, because absolute figures differ by machine.

A benchmark is a function without arguments that returns a ``Result``. It is added by
putting it into ``BENCHMARKS``; ``manage.py bench`` runs them and prints one line each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from facility.project.bench import (
    doses,
    drift,
    due,
    fleet,
    gas,
    notices,
    pack,
    readiness,
    recording,
    report,
    run_log,
    serving,
    sweep,
    watching,
    writers,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from facility.project.bench.result import Result

BENCHMARKS: dict[str, Callable[[], Result]] = {
    "second-start": serving.second_start,
    "idle-memory": serving.idle_memory,
    "readiness": readiness.pure_function,
    "readiness-parties": readiness.many_plans,
    "forecast": readiness.forecast,
    "now-queries": readiness.now_page_queries,
    "now-parties": readiness.many_plans_queries,
    "now-years": readiness.now_page_years,
    "chambers-floor": readiness.many_chambers,
    "chambers-linear": readiness.linear,
    "log-entry": run_log.entry,
    "log-queries": run_log.page_queries,
    "gas-content": gas.gas_content,
    "run-dose": doses.dose_of_sixty,
    "drift-plot": drift.plot,
    "record-seconds": recording.import_seconds,
    "record-ratio": recording.import_ratio,
    "due-bulk": due.bulk_state,
    "due-memory": due.bulk_memory,
    "notices-queued": notices.queued,
    "notices-memory": notices.memory,
    "fleet-queries": fleet.queries,
    "fleet-page": fleet.page,
    "watch-time": watching.watch_time,
    "watch-renew": watching.renew_time,
    "watch-wait": watching.longest_wait,
    "watch-memory": watching.memory,
    "watch-scrape": watching.scrape_time,
    "writers": writers.eight,
    "sweep-time": sweep.time_of_all,
    "sweep-linear": sweep.linear,
    "sweep-memory": sweep.memory,
    "sweep-forecast": sweep.forecast_part,
    "pack-cold": pack.cold,
    "pack-warm": pack.warm,
    "pack-ten-years": pack.ten_years,
    "pack-verify": pack.verifying,
    "pack-verify-alone": pack.verifying_alone,
    "pack-beside": pack.beside_pages,
    "press-one": report.one_press,
    "press-two": report.two_presses,
    "press-memory": report.memory,
    "press-linear": report.linear,
}
