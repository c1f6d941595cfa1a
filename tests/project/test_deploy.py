"""What an operator copies from the deploy folder: units, proxies, image, settings."""

from __future__ import annotations

import re
import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from facility import checks
from facility.project import lan

if TYPE_CHECKING:
    from pytest_django import Settings

ROOT = Path(__file__).resolve().parent.parent.parent
DEPLOY = ROOT / "facility" / "project" / "deploy"
UNITS = sorted((DEPLOY / "systemd").glob("*.service"))
MOST_EXPOSED = 2.0
"""Of 10, as systemd-analyze counts; it calls up to 2 well protected."""
LETTERS = r"DEEPSTEAD_[A-Z]+(?:_[A-Z]+)*"
READ = re.compile(rf"""(?:env\.\w+\(|environ(?:\.get\(|\[)|_secret\()\s*["']({LETTERS})["']""")


def settings_read() -> set[str]:
    """Return each setting that the program reads from its environment."""
    code = [path for app in ("facility", "maintenance", "treatments") for path in (ROOT / app).rglob("*.py")]
    found = {name for path in [*code, ROOT / "tests" / "conftest.py"] for name in READ.findall(path.read_text("utf-8"))}
    return {name.removesuffix("_FILE") for name in found}


def settings_told() -> set[str]:
    return set(re.findall(rf"^#?({LETTERS})=", (DEPLOY / "env.example").read_text("utf-8"), re.MULTILINE))


def test_each_setting_that_is_read_is_told_and_each_that_is_told_is_read() -> None:
    assert len(settings_read()) > 20
    assert settings_read() == settings_told()


def analyze(*words: str) -> subprocess.CompletedProcess[str]:
    program = shutil.which("systemd-analyze")
    if not program:
        pytest.skip("No systemd-analyze on this machine: Debian has it in the package systemd.")
    return subprocess.run([program, *words], capture_output=True, text=True, check=False, timeout=60)


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
def test_a_unit_may_do_little(unit: Path) -> None:
    """Source: systemd-analyze security, which scores a unit from 0 (nothing allowed) to 10."""
    done = analyze("security", "--offline=yes", str(unit))
    told = re.search(r"Overall exposure level for \S+: ([0-9.]+)", done.stdout)
    assert told, done.stderr
    assert float(told[1]) <= MOST_EXPOSED


def test_the_units_are_understood(tmp_path: Path) -> None:
    """Source: systemd-analyze verify; the program is not installed there, so a stand-in is named."""
    for unit in UNITS:
        text = unit.read_text().replace("/opt/deepstead/.venv/bin/python", "/bin/true")
        (tmp_path / unit.name).write_text(text)
    done = analyze("verify", "--man=no", *(str(tmp_path / unit.name) for unit in UNITS))
    assert [line for line in done.stderr.splitlines() if "deepstead" in line] == []
    assert done.returncode == 0


def test_the_commands_of_the_units_and_the_image_are_there() -> None:
    commands = {path.stem for path in (ROOT / "facility" / "management" / "commands").glob("*.py")}
    texts = [path.read_text() for path in [*UNITS, DEPLOY / "Dockerfile"]]
    named = {word for text in texts for word in re.findall(r"manage\.py[\", ]+([a-z_]+)", text)}
    assert named
    assert named <= commands
    assert len(UNITS) == 4


def test_both_proxies_say_how_they_were_reached_and_take_away_what_a_browser_claims() -> None:
    caddy, nginx = (DEPLOY / "proxy" / name for name in ("Caddyfile", "nginx.conf"))
    assert "header_up X-Forwarded-Proto {scheme}" in caddy.read_text()
    assert "header_up -Remote-User" in caddy.read_text()
    assert "proxy_set_header X-Forwarded-Proto $scheme;" in nginx.read_text()
    assert 'proxy_set_header Remote-User "";' in nginx.read_text()


def openssl(*words: str) -> str:
    program = shutil.which("openssl")
    if not program:
        pytest.skip("No openssl on this machine.")
    done = subprocess.run([program, *words], capture_output=True, text=True, check=False, timeout=30)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_a_certificate_for_the_local_network_holds_before_openssl(tmp_path: Path) -> None:
    """Source: openssl verify and x509, and RFC 5280 as they check it."""
    now = datetime.now(UTC)
    made = lan.issue(["chamber.lan", "192.168.1.5"], tmp_path / "lan", now=now)
    folder = made.folder
    server, authority = str(folder / lan.SERVER), str(folder / lan.AUTHORITY)
    for name in (["-verify_hostname", "chamber.lan"], ["-verify_ip", "192.168.1.5"]):
        assert "OK" in openssl("verify", "-x509_strict", "-purpose", "sslserver", *name, "-CAfile", authority, server)
    assert made.fingerprint in openssl("x509", "-in", authority, "-noout", "-fingerprint", "-sha256")
    assert {path.stat().st_mode & 0o777 for path in folder.iterdir()} == {0o600}
    assert made.good_until - now == timedelta(days=397)
    ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(server, folder / lan.SERVER_KEY)
    again = lan.issue(["chamber.lan"], folder, now=now)
    assert (again.new_authority, again.fingerprint) == (False, made.fingerprint)


def test_what_is_no_name_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    for name in ("https://chamber.lan", "chamber lan", "-x", ""):
        with pytest.raises(CommandError, match="is no host name and no address. Give what browsers type"):
            call_command("lan_certificate", "--to", str(tmp_path / "lan"), "--", name)
    assert not (tmp_path / "lan").exists()


def test_a_certificate_that_ends_soon_is_told(tmp_path: Path, settings: Settings) -> None:
    settings.DATA_DIR = tmp_path
    assert checks.check_lan_certificate(None) == []
    for days, said in [(365, []), (29, ["ends on"]), (-1, ["has ended on"])]:
        begun = datetime.now(UTC) - timedelta(days=lan.SERVER_DAYS - days)
        lan.issue(["chamber.lan"], tmp_path / lan.FOLDER, now=begun)
        found = checks.check_lan_certificate(None)
        assert [word for one in found for word in said if word in one.msg] == said
        assert len(found) == len(said)
    assert "lan_certificate again" in (found[0].hint or "")
