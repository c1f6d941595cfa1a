"""``manage.py readiness``: may a run start now, what stands in the way, until when?"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils.translation import gettext as _

from facility import events
from facility.compute.changes import Change, load_changes
from facility.compute.facts import Facility
from facility.compute.facts_json import load_facts
from facility.compute.facts_schema import schema
from facility.compute.findings import (
    Evaluation,
    dump_comparison,
    dump_evaluation,
    dump_forecast,
    dump_instant,
)
from facility.compute.forecast import forecast
from facility.compute.instants import FactsError, Instant, parse_instant
from facility.compute.readiness import evaluate, evaluate_plan
from facility.compute.states import CAUTION
from facility.compute.whatif import what_if
from facility.management.records_command import RecordsCommand
from facility.readiness import shell
from facility.readiness.ahead import whatif_shell

REFUSED = 2


class Command(RecordsCommand):
    """Print readiness, of a site's records, or from a file of facts without a database."""

    help = "Say for each plan whether a run may start, what stands in the way, and until when that holds."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("site", nargs="?", help="key of a site, see --list")
        parser.add_argument("--list", action="store_true", help="list the sites, one a line, its key first")
        parser.add_argument("--chamber", metavar="KEY", help="this chamber of the site only")
        parser.add_argument("--facts", metavar="FILE", help="compute from this JSON file, without a database")
        parser.add_argument(
            "--at", metavar="INSTANT", help="instant, YYYY-MM-DDTHH:MMZ; of a site: any offset, without it now"
        )
        parser.add_argument("--plan", metavar="PLAN", help="this plan only")
        parser.add_argument("--json", action="store_true", help="print JSON")
        parser.add_argument("--forecast", metavar="PLAN", help="states over the coming 90 days")
        parser.add_argument("--what-if", metavar="FILE", help="changes to compare, with --plan; of a site: or for all")
        parser.add_argument(
            "--without", metavar="PERSON", action="append", default=[], help="what if: without this person"
        )
        parser.add_argument(
            "--out", metavar="TAG", action="append", default=[], help="what if: this item or bank out of service"
        )
        parser.add_argument("--after-run", metavar="PLAN", help="what if: after a run of this plan that starts at --at")
        parser.add_argument(
            "--inside", metavar="PERSON", action="append", default=[], help="with --after-run: who was inside"
        )
        parser.add_argument("--facts-schema", action="store_true", help="print the JSON Schema of the facts")

    def rests_on_records(self, options: dict[str, Any]) -> bool:
        """A file of facts needs no database."""
        return not (options.get("facts") or options.get("facts_schema"))

    def handle(self, **options: Any) -> None:
        """Choose what is asked for; bad input ends with code 2 and a sentence."""
        try:
            self._choose(options)
        except FactsError as error:
            raise CommandError(str(error), returncode=REFUSED) from error

    def _choose(self, options: dict[str, Any]) -> None:
        if options["facts_schema"]:
            self._print_json(schema())
        elif options["facts"]:
            self._from_file(options)
        elif options["list"]:
            self.stdout.write("\n".join(shell.site_list()))
        elif options["site"]:
            self._of_site(options)
        else:
            raise FactsError(
                _("Nothing to compute from. Name a site (see --list), or give --facts FILE and --at INSTANT.")
            )

    def _of_site(self, options: dict[str, Any]) -> None:
        question = shell.asked(options["site"], options["chamber"], options["at"], events.now())
        if not (options["forecast"] or _asks_what_if(options)):
            self.stdout.write(shell.as_json(question) if options["json"] else shell.as_text(question))
            return
        wanted = options["forecast"] or options["plan"] or options["after_run"]
        answer = whatif_shell.answer_with(question, wanted)
        if options["forecast"]:
            self._forecast(answer.facts, options["forecast"], answer.at, as_json=options["json"])
        else:
            self._what_if(answer.facts, answer.at, options | {"members": whatif_shell.members_of(answer)})
        caution = self.stderr if options["json"] else self.stdout
        caution.write(_(CAUTION), self.style.NOTICE if caution is self.stdout else str)

    def _from_file(self, options: dict[str, Any]) -> None:
        if not options["at"]:
            raise FactsError(_("--at is missing. Give the instant to ask about: YYYY-MM-DDTHH:MMZ."))
        facility = load_facts(_read(options["facts"]))
        at = parse_instant(options["at"])
        if options["forecast"]:
            self._forecast(facility, options["forecast"], at, as_json=options["json"])
        elif _asks_what_if(options):
            self._what_if(facility, at, options)
        else:
            self._evaluations(facility, at, options)
        caution = self.stderr if options["json"] else self.stdout
        caution.write(_(CAUTION), self.style.NOTICE if caution is self.stdout else str)

    def _evaluations(self, facility: Facility, at: Instant, options: dict[str, Any]) -> None:
        plan = options["plan"]
        found = {plan: evaluate_plan(facility, plan, at)} if plan else evaluate(facility, at)
        if options["json"]:
            self._print_json({name: dump_evaluation(one) for name, one in found.items()})
            return
        for name, evaluation in found.items():
            self._describe(name, evaluation)

    def _what_if(self, facility: Facility, at: Instant, options: dict[str, Any]) -> None:
        """Compare one plan, or with the short forms every plan."""
        if options["what_if"] and not options["plan"]:
            raise FactsError(_("--what-if compares one plan. Name it with --plan."))
        changes = (*_changes_in(options), *whatif_shell.short_forms(facility, at, options))
        plans = [options["plan"]] if options["plan"] else list(facility.plans)
        compared = {plan: what_if(facility, plan, at, changes) for plan in plans}
        if options["json"]:
            shapes = {plan: dump_comparison(one) for plan, one in compared.items()}
            self._print_json(shapes[options["plan"]] if options["plan"] else shapes)
            return
        for plan, one in compared.items():
            self._describe(_("Before: %(plan)s") % {"plan": plan}, one.before)
            self._describe(_("After: %(plan)s") % {"plan": plan}, one.after)

    def _forecast(self, facility: Facility, plan: str, at: Instant, *, as_json: bool) -> None:
        steps = dump_forecast(forecast(facility, plan, at))
        if as_json:
            self._print_json(steps)
            return
        for instant, state in steps:
            self.stdout.write(f"{instant}  {state}")
        self.stdout.write(_("Checks, readings and gas content are taken as they are now."))

    def _describe(self, name: str, evaluation: Evaluation) -> None:
        self.stdout.write(f"{name}: {evaluation.state}")
        if evaluation.holds_until is not None:
            limits = ", ".join(evaluation.limiting)
            until = dump_instant(evaluation.holds_until)
            self.stdout.write(
                "  " + _("holds until %(until)s, limited by %(limits)s") % {"until": until, "limits": limits}
            )
        elif evaluation.state != "Not ready":
            self.stdout.write("  " + _("no end on record"))
        if evaluation.in_the_way:
            self.stdout.write("  " + _("in the way: %(needs)s") % {"needs": ", ".join(evaluation.in_the_way)})
            ready = dump_instant(evaluation.ready_from) or _("none on record")
            self.stdout.write("  " + _("ready from, with nobody acting: %(ready)s") % {"ready": ready})

    def _print_json(self, value: Any) -> None:
        self.stdout.write(json.dumps(value, indent=2, ensure_ascii=False))


def _asks_what_if(options: dict[str, Any]) -> bool:
    return any(options[name] for name in ("what_if", "without", "out", "after_run"))


def _changes_in(options: dict[str, Any]) -> tuple[Change, ...]:
    return load_changes(_read(options["what_if"])) if options["what_if"] else ()


def _read(name: str) -> str:
    """Read a file, or standard input where the name is a dash."""
    if name == "-":
        return sys.stdin.read()
    try:
        return Path(name).read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise FactsError(_("%(name)s is not UTF-8 text. Save it as UTF-8.") % {"name": name}) from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise FactsError(_("%(name)s cannot be read: %(reason)s.") % {"name": name, "reason": reason}) from error
