"""System checks report in plain words what an operator can do something about."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.core.checks.registry import registry

from facility import checks

if TYPE_CHECKING:
    from pytest_django import Settings


def test_the_checks_are_registered() -> None:
    assert {
        checks.check_data_folder,
        checks.check_pdf_libraries,
        checks.check_fonts,
    } <= registry.registered_checks
    assert checks.check_hosts in registry.deployment_checks


def test_a_writable_folder_is_no_fault(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    assert checks.check_data_folder(None) == []


def test_a_missing_folder_is_named(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path / "gone"
    (found,) = checks.check_data_folder(None)
    assert found.id == "facility.E001"
    assert str(tmp_path / "gone") in found.msg


def test_a_missing_library_is_named_with_the_line_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checks, "LIBRARIES", ("libc.so.6", "libnowhere-9.so.0"))
    (found,) = checks.check_pdf_libraries(None)
    assert found.msg.startswith("PDF pages cannot be made: libnowhere-9.so.0 missing.")
    assert "apt-get install" in (found.hint or "")


def test_a_missing_font_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    assert checks.check_fonts(None) == []
    monkeypatch.setattr(checks, "FONTS", "no_such_font_package")
    (found,) = checks.check_fonts(None)
    assert found.id == "facility.W002"


@pytest.mark.parametrize(("hosts", "ids"), [(["*"], ["facility.W003"]), (["chamber.example"], [])])
def test_an_open_host_list_is_reported_for_deployment(settings: Settings, hosts: list[str], ids: list[str]) -> None:
    settings.ALLOWED_HOSTS = hosts
    assert [found.id for found in checks.check_hosts(None)] == ids


OWN = "https://box.example.org/"
SAFE = {"EMAIL_HOST": "mail.example.org", "EMAIL_HOST_PASSWORD": "word", "EMAIL_USE_TLS": True, "OWN_ADDRESS": OWN}


@pytest.mark.parametrize(
    ("given", "ids"),
    [
        ({"EMAIL_HOST": "", "CHECKPOINT_MAIL": []}, []),
        (SAFE | {"CHECKPOINT_MAIL": ["a@example.org"]}, []),
        (SAFE | {"EMAIL_USE_TLS": False}, ["facility.W015"]),
        (SAFE | {"EMAIL_USE_TLS": False, "EMAIL_HOST_PASSWORD": "", "OWN_ADDRESS": ""}, ["facility.W016"]),
        ({"EMAIL_HOST": "", "CHECKPOINT_MAIL": ["a@example.org"]}, ["facility.W017"]),
    ],
)
def test_what_keeps_messages_from_leaving_is_named_with_its_setting(
    settings: Settings, given: dict[str, object], ids: list[str]
) -> None:
    for name, value in given.items():
        setattr(settings, name, value)
    found = checks.check_mail(None)
    assert [one.id for one in found] == ids
    assert all("DEEPSTEAD_" in (one.hint or "") for one in found)


@pytest.mark.parametrize(
    ("issuer", "secret", "ids"),
    [
        ("", "", []),
        ("https://login.example.org/", "word", []),
        ("http://login.example.org/", "word", ["facility.W018"]),  # OpenID Connect Discovery 1.0, section 3: https
        ("https://login.example.org/", "", ["facility.W019"]),
    ],
)
def test_a_provider_that_can_let_nobody_in_is_named_with_its_setting(
    settings: Settings, issuer: str, secret: str, ids: list[str]
) -> None:
    settings.OIDC_ISSUER, settings.OIDC_CLIENT, settings.OIDC_SECRET = issuer, "box", secret
    found = checks.check_provider(None)
    assert [one.id for one in found] == ids
    assert all("DEEPSTEAD_OIDC" in (one.hint or "") for one in found)
