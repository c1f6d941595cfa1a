"""What a site still lacks before the question "may this run start?" can be asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.models import Chamber, Check, CheckState, DutyPeriod, Person
from maintenance.models import BankReading, Equipment, GasBank
from treatments.models import Need, Plan

if TYPE_CHECKING:
    from facility.models import Site


def missing_for_an_answer(site: Site) -> list[str]:
    """Return one sentence for each thing without which no plan can be Ready, and how to add it."""
    lacking = [
        (Chamber.objects.filter(site=site), _("No chamber: fill chambers.csv and locks.csv.")),
        (Person.objects.filter(site=site), _("Nobody of the crew: fill people.csv, or add them under People.")),
        (
            DutyPeriod.objects.filter(person__site=site),
            _("No roster: fill duty.csv; without duty nobody can fill a role."),
        ),
        (Equipment.objects.filter(site=site), _("No equipment: fill equipment.csv and intervals.csv.")),
        (GasBank.objects.filter(site=site), _("No gas bank: fill banks.csv, cylinders.csv and analyses.csv.")),
        (
            BankReading.objects.filter(bank__site=site),
            _("No bank has been read: fill bank_readings.csv, or read the gauges in a check."),
        ),
        (
            Check.objects.filter(sheet__chamber__site=site, state=CheckState.SIGNED),
            _("No signed check: take a sheet (sheets.csv or Set-up), then walk and sign it."),
        ),
        (
            Need.objects.filter(chamber__site=site),
            _("No needs: fill needs.csv, or name under Set-up what a run rests on."),
        ),
        (
            Plan.objects.filter(chamber__site=site),
            _("No plan: fill plans.csv, plan_roles.csv and plan_gas.csv, or write a plan under Set-up. Nothing can be asked before."),
        ),
    ]  # fmt: skip
    return [sentence for rows, sentence in lacking if not rows.filter(retired_at=None).exists()]
