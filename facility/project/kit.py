"""The offline kit: the program, its packages as wheels, checksums and the script that installs them without a network."""

from __future__ import annotations

import hashlib
import io
import shutil
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from facility import __version__

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ROOT: Final = Path(__file__).resolve().parent.parent.parent
DEPLOY: Final = Path(__file__).resolve().parent / "deploy"
PACKED: Final = (
    "manage.py", "pyproject.toml", "requirements.txt", "README.md", "DEVELOPERS.md", "LICENSE", "templates",
    "facility", "maintenance", "treatments",
)  # fmt: skip
BESIDE: Final = ("install.sh", "Dockerfile", "compose.yaml", "env.example")
LEFT_OUT: Final = frozenset({"__pycache__", ".mypy_cache", ".ruff_cache"})
SUMS: Final = "SHA256SUMS"


class KitError(RuntimeError):
    """The kit cannot be made; the text says what to do."""


@dataclass(frozen=True, slots=True)
class Made:
    """A kit that lies whole in its folder."""

    folder: Path
    wheels: int
    size: int


def make(folder: Path, say: Callable[[str], object]) -> Made:
    """Fill an empty folder with a kit for this Python and this kind of machine.

    Errors: KitError if the folder is not empty or a package cannot be had.
    """
    if folder.exists() and any(folder.iterdir()):
        raise KitError(f"{folder} is not empty. Name a new folder by --out, so that nothing old gets into the kit.")
    wheels = folder / "wheels"
    wheels.mkdir(parents=True)
    say("Fetching the packages as wheels, each by its hash; this needs the network or a registry of your own ...")
    _fetch(wheels)
    say("Packing the program ...")
    (folder / "deepstead.tar.gz").write_bytes(packed())
    for name in BESIDE:
        shutil.copyfile(DEPLOY / name, folder / name)
    (folder / "PYTHON").write_text(f"{sys.version_info.major}.{sys.version_info.minor}\n", encoding="utf-8")
    (folder / "VERSION").write_text(f"{__version__}\n", encoding="utf-8")
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    sums = "".join(f"{_digest(path)}  {path.relative_to(folder).as_posix()}\n" for path in files)
    (folder / SUMS).write_text(sums, encoding="utf-8")
    return Made(folder, len(list(wheels.iterdir())), sum(path.stat().st_size for path in files))


def _fetch(wheels: Path) -> None:
    done = subprocess.run(  # noqa: S603 - our own command line
        [
            sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-input", "--no-deps",
            "--only-binary", ":all:", "--require-hashes", "--dest", str(wheels), "-r", str(ROOT / "requirements.txt"),
        ],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        raise KitError(
            f"{done.stderr.strip()}\nThe packages could not be fetched. Make the kit where pip reaches them."
        )


def packed() -> bytes:
    """Return the program as a packed tar, owned by nobody in particular."""
    target = io.BytesIO()
    with tarfile.open(fileobj=target, mode="w:gz", compresslevel=6) as archive:
        for path in sources():
            told = archive.gettarinfo(path, arcname=path.relative_to(ROOT).as_posix())
            told.uid = told.gid = told.mtime = 0
            told.uname = told.gname = ""
            with path.open("rb") as file:
                archive.addfile(told, file)
    return target.getvalue()


def sources() -> Iterator[Path]:
    """Return the files of the program, without tests and without what running it leaves."""
    for name in PACKED:
        path = ROOT / name
        found = sorted(path.rglob("*")) if path.is_dir() else [path]
        yield from (one for one in found if one.is_file() and not LEFT_OUT & set(one.parts))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
