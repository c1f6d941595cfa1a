"""The app's own settings with a data folder for tests and a quick password hasher."""

import os
import tempfile
from pathlib import Path

os.environ.setdefault("DEEPSTEAD_DATA", str(Path(tempfile.gettempdir()) / f"deepstead-tests-{os.getuid()}"))

from facility.project.settings import *  # noqa: F403
from facility.project.settings import STATIC_ROOT

STATIC_ROOT.mkdir(parents=True, exist_ok=True)

#: a test is not about the cost of guessing a password
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
