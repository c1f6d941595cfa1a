"""The page over many sites: no site's own, open to whoever has a role at two sites; the JSON takes the token too."""

from __future__ import annotations

from facility.access import Act

PAGES = {"fleet:organisation": Act.SEE, "fleet:organisation_json": Act.SEE}
