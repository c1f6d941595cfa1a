"""The import contracts hold, and would be broken by a fault of each sort."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
LINT = Path(sys.executable).parent / "lint-imports"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    ignore = shutil.ignore_patterns("__pycache__", "static")
    for app in ("facility", "maintenance", "treatments"):
        shutil.copytree(ROOT / app, tmp_path / app, ignore=ignore)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def verdict(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(LINT), "--no-logo", "--no-cache"], cwd=folder, check=False, capture_output=True, text=True
    )


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("maintenance/models/gas.py", "import treatments.models", "Floors"),
        ("facility/services.py", "import facility.readiness", "Floors"),
        ("facility/compute/units.py", "import django", "Computation knows neither Django nor records"),
        ("treatments/models/plan.py", "import treatments.planted", "Inside an app"),
    ],
)
def test_an_import_upwards_is_refused(copy: Path, module: str, line: str, contract: str) -> None:
    (copy / "treatments/planted.py").touch() if "planted" in line else None
    path = copy / module
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    done = verdict(copy)
    assert done.returncode != 0
    assert f"{contract} BROKEN" in done.stdout


WITHOUT_A_FLOOR = {"__init__", "apps", "migrations", "static", "locale", "jobs"}  # jobs: each of its modules has one


def test_every_module_of_the_facility_has_its_floor() -> None:
    """A new module is given its place in pyproject.toml, [tool.importlinter], contract Floors."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    layers = next(contract["layers"] for contract in contracts if contract["name"] == "Floors")
    placed = {name.strip("() ") for layer in layers for name in layer.replace("|", ":").split(":")}
    found = {f"facility.{path.stem}" for path in (ROOT / "facility").iterdir() if path.stem not in WITHOUT_A_FLOOR}
    found |= {f"facility.jobs.{path.stem}" for path in (ROOT / "facility/jobs").glob("[!_]*.py")}
    assert sorted(name for name in found - placed if "__" not in name) == []
