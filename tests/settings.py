"""The app's own settings with a data folder for tests and a quick password hasher."""

import os
import tempfile
from pathlib import Path

os.environ.setdefault("DEEPSTEAD_DATA", str(Path(tempfile.gettempdir()) / f"deepstead-tests-{os.getuid()}"))

from facility.project.settings import *  # noqa: F403
from facility.project.settings import DATA_DIR, DATABASES, STATIC_ROOT

STATIC_ROOT.mkdir(parents=True, exist_ok=True)

#: a test is not about the cost of guessing a password
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

#: a file, not memory: threads of a live server would share one connection to a database in memory
if "sqlite" in str(DATABASES["default"]["ENGINE"]):
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / f"test-{os.getpid()}.sqlite3")}

#: tests set the clock as they need; the rule itself has its own test
IDLE_MIN = 0
