"""What every test shares: Hypothesis profiles, and a flush that the event triggers allow."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile("quick", derandomize=True, max_examples=60, deadline=None)
settings.register_profile(
    "long", max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("long" if os.environ.get("DEEPSTEAD_LONG") == "1" else "quick")
