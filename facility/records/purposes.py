"""What each kind of record is for: said where a list of it is still empty."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

PURPOSES = {
    "organisation": _("Who runs one or more sites; kinds of qualification are its."),
    "site": _("A place with its own people, papers, clock and local codes."),
    "chamber": _("What runs are made in. Locks, equipment, check sheets and plans hang on it."),
    "lock": _(
        "Its volume is in the sums of gas and ventilation, its occupants and working pressure in the limits of a run."
    ),
    "person": _("Those who may fill a role in a run: until they are recorded, no crew is known."),
    "qualification-kind": _(
        "What a role may ask for, for example inside tender; certificates are recorded of these kinds."
    ),
    "qualification": _(
        "Certificates with their dates. They count once a second person has read the dates off the paper."
    ),
    "medical": _("Fitness for pressure and until when; a role under pressure asks for it."),
    "duty": _("Who is here or on call, and when: the crew of a run is found among those on duty."),
    "contact": _("Whom to ring: physician, next chamber, emergency services, supplier."),
    "equipment": _("Gauges, valves, alarms, masks: each by its tag, with what falls due on it."),
    "rule": _("What is to be done on an item and how often: calibration, function test, replacement."),
    "counter": _("Running hours and pressure cycles by which work falls due."),
    "work": _("Work that was done on an item: from its date the next one falls due."),
    "bank": _("Cylinders on one gauge. What may be drawn from them is reckoned from the reading."),
    "cylinder": _("The cylinders of a bank by mark and water capacity; each counts once its gas was analysed."),
    "analysis": _("Who analysed a cylinder, when and with what result. Without it the cylinder counts for nothing."),
    "reading": _("Pressure and temperature of a bank: what may be drawn is reckoned from the newest."),
    "supply": _("Who delivers a gas, how long it takes and on which days: the day to order by rests on it."),
    "opening": _("When a chamber was opened for work: what must be tested again afterwards rests on it."),
    "wait": _("Who must wait after a time under pressure, and until when; runs record it by themselves."),
    "sheet": _("The checks that are walked: daily, before and after a run."),
}
