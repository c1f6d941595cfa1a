"""References, comparisons and recalls."""

from __future__ import annotations

from datetime import date
from typing import Any

from facility.access import Act
from facility.models import Site
from maintenance.calibrating import recalls
from maintenance.models import Recall
from tests import make
from tests.maintenance.calibrating import support

PAGES = {
    "maintenance:references": Act.SEE, "maintenance:add_reference": Act.PLANT, "maintenance:reference": Act.SEE,
    "maintenance:add_certificate": Act.PLANT, "maintenance:certificate": Act.SEE,
    "maintenance:second_look_certificate": Act.PLANT, "maintenance:compare_pair": Act.CHECK,
    "maintenance:calibrate": Act.PLANT, "maintenance:laboratory": Act.PLANT, "maintenance:drift": Act.SEE,
    "maintenance:calibration": Act.SEE, "maintenance:correct_calibration": Act.PLANT,
    "maintenance:calibration_pdf": Act.SEE, "maintenance:recall": Act.PLANT, "maintenance:recall_page": Act.SEE,
    "maintenance:answer_recall": Act.RETURN,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    item, reference = make.equipment(site), support.reference(site)
    certificate = support.certificate(reference)
    compared = support.comparison(item, certificate)
    recall = recalls.start(
        Recall(
            site=site, reference=reference, last_good_on=date(2026, 2, 3), found_on=date(2026, 4, 1), why="Reads low"
        ),
        by=make.BY,
    )
    found: dict[str, Any] = {f"maintenance:{word}": item for word in ("calibrate", "laboratory", "drift")}
    found |= {f"maintenance:{word}": compared for word in ("calibration", "correct_calibration", "calibration_pdf")}
    found |= {f"maintenance:{word}": reference for word in ("reference", "add_certificate")}
    found |= {f"maintenance:{word}": certificate for word in ("certificate", "second_look_certificate")}
    return found | {f"maintenance:{word}": recall for word in ("recall_page", "answer_recall")}
