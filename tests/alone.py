"""Code run in a process of its own, where what other tests have held and given back does not count."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SET_UP = "import django; django.setup()\n"


def floats_of(code: str) -> list[float]:
    """Return the numbers that a piece of code prints, run by the settings of the tests."""
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"}
    line = [sys.executable, "-c", SET_UP + code]
    done = subprocess.run(line, cwd=ROOT, env=env, capture_output=True, text=True, check=True, timeout=100)
    return [float(one) for one in done.stdout.split()]
