"""From a bare machine to a working environment. Standard library only: nothing is installed yet.

Makes ``.venv``, installs the pinned packages into it, looks for the native libraries that
PDF pages need, and starts the same command again inside ``.venv``.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

ROOT = Path(__file__).resolve().parent.parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"

#: library file -> Debian package that holds it; WeasyPrint loads all three
NATIVE_LIBRARIES = {
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libfontconfig.so.1": "libfontconfig1",
}
DRIVER_LIBRARY = "libatomic.so.1"
BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")


class SetUpError(RuntimeError):
    """Set-up cannot go on; the text says what to do."""


def is_needed(arguments: Sequence[str]) -> bool:
    """Whether this process is outside every virtual environment, or in one that lacks what the command needs."""
    if sys.prefix == sys.base_prefix or importlib.util.find_spec("django") is None:
        return True
    return list(arguments[:1]) == ["test"] and Path(sys.prefix) == VENV and not _is_installed("tests/requirements.txt")


def run(arguments: Sequence[str]) -> NoReturn:
    """Set up what is missing and start ``manage.py ARGUMENTS`` inside ``.venv``."""
    command = arguments[0] if arguments else "help"
    try:
        with _one_at_a_time():
            _virtual_environment()
            _packages("requirements.txt")
            if command == "test":
                _packages("tests/requirements.txt")
        if command in ("up", "test"):
            _native_libraries()
        if command == "test" and "--fast" not in arguments:
            _browser()
    except SetUpError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit("Set-up was stopped. Start the same command again to go on.")
    os.execv(PYTHON, [str(PYTHON), str(ROOT / "manage.py"), *arguments])


@contextlib.contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Hold the set-up lock, so that two first starts do not install over each other."""
    path = ROOT / "var" / "set-up.lock"
    try:
        path.parent.mkdir(exist_ok=True)
        lock = path.open("w", encoding="utf-8")
    except OSError as error:
        raise SetUpError(
            f"Set-up cannot write to {path.parent}: {error.strerror}. Give this user the right to write to {ROOT}."
        ) from error
    with lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _virtual_environment() -> None:
    """Make ``.venv`` if it is missing, half made, or its Python is gone."""
    if _works(PYTHON) and (_stamp("requirements.txt").is_file() or _has_pip(PYTHON)):
        return
    if not _can_make_environments():
        _apt(["python3-venv"], why="Python's module for virtual environments")
        if not _has_pip_source():
            raise SetUpError(
                "Python's module for virtual environments is missing. Run as root: apt-get install -y python3-venv"
            )
    _say("Making the virtual environment .venv ...")
    done = _call([sys.executable, "-m", "venv", "--clear", str(VENV)])
    if done.returncode:
        raise SetUpError(f"The virtual environment {VENV} could not be made: {_last_line(done)}")


def _works(python: Path) -> bool:
    return python.exists() and os.access(python, os.X_OK)


def _has_pip(python: Path) -> bool:
    return _call([str(python), "-c", "import pip"]).returncode == 0


def _can_make_environments() -> bool:
    return all(importlib.util.find_spec(name) is not None for name in ("venv", "ensurepip"))


def _has_pip_source() -> bool:
    """Ask a new process, because this one has looked already and remembers the answer."""
    return _call([sys.executable, "-c", "import venv, ensurepip"]).returncode == 0


def _packages(name: str) -> None:
    """Install the packages pinned in the file ``name``, unless its stamp says that it is done."""
    if _is_installed(name):
        return
    _say(f"Installing the packages of {name}; this needs the network and takes a minute or two ...")
    pip = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    done = _call([*pip, "--require-hashes", "-r", str(ROOT / name)])
    if done.returncode:
        raise SetUpError(
            f"{done.stderr.strip()}\nThe packages of {name} could not be installed. pip needs the network for this"
            " first start; when it is reachable, start the same command again."
        )
    _stamp(name).write_text(_digest(ROOT / name), encoding="utf-8")


def _is_installed(name: str) -> bool:
    stamp = _stamp(name)
    return stamp.is_file() and stamp.read_text(encoding="utf-8") == _digest(ROOT / name)


def _digest(path: Path) -> str:
    """Return what the stamp holds: the file's SHA-256 and the Python that it was installed for."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return f"{hashlib.sha256(path.read_bytes()).hexdigest()} {version}\n"


def _stamp(name: str) -> Path:
    return VENV / f"installed-{name.replace('/', '-')}"


def missing_libraries() -> list[str]:
    """Return the Debian packages whose library WeasyPrint would not find."""
    return [package for library, package in NATIVE_LIBRARIES.items() if not _loads(library)]


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def no_browser() -> str:
    """Return why no browser can be steered on this machine, or nothing."""
    if not browser():
        return "there is no Chromium on this machine (as root on Debian it is installed by itself: apt-get install chromium)"
    if sys.platform == "linux" and not _loads(DRIVER_LIBRARY):
        return f"the driver of the browser lacks {DRIVER_LIBRARY} (as root on Debian: apt-get install libatomic1)"
    return ""


def _native_libraries() -> None:
    """Install the libraries for PDF pages, or say how. The app starts without them."""
    missing = missing_libraries() if sys.platform == "linux" else []
    if missing and not _apt(missing, why="the libraries for PDF pages"):
        _say(
            "PDF pages will not work until their libraries are there; everything else does."
            f" Run as root: apt-get install -y --no-install-recommends {' '.join(missing)}"
        )


def browser() -> str:
    """Return the path of a Chromium for the browser tests, or nothing."""
    return next((path for path in BROWSERS if os.access(path, os.X_OK)), "")


def _browser() -> None:
    """Install Chromium, and what Playwright's driver loads, where that is simple; else the browser tests are left out."""
    missing = [] if browser() else ["chromium"]
    if sys.platform == "linux" and not _loads(DRIVER_LIBRARY):
        missing.append("libatomic1")
    if missing:
        _apt(missing, why="the browser for the browser tests")


def _apt(packages: Sequence[str], *, why: str) -> bool:
    """Install Debian packages if this is root on Debian. Return whether it worked."""
    allowed = os.environ.get("DEEPSTEAD_APT", "yes").lower() not in ("0", "no", "off", "false")
    if not allowed or os.geteuid() != 0 or not Path("/etc/debian_version").exists() or not shutil.which("apt-get"):
        return False
    _say(f"Installing {why}: {' '.join(packages)} ...")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for step in (["update"], ["install", "-y", "--no-install-recommends", *packages]):
        done = _call(["apt-get", "-qq", *step], environment=quiet)
    if done.returncode:
        _say(f"apt-get did not install them: {_last_line(done)}")
    return done.returncode == 0


def _call(command: Sequence[str], environment: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, check=False, capture_output=True, text=True, env=environment)


def _last_line(done: subprocess.CompletedProcess[str]) -> str:
    lines = (done.stderr.strip() or done.stdout.strip() or f"exit code {done.returncode}").splitlines()
    return lines[-1]


def _say(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)
