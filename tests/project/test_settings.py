"""Settings that keep people and records safe."""

from __future__ import annotations

from django.conf import settings
from django.db import connection


def test_scripts_styles_and_forms_come_from_the_app_alone() -> None:
    directives = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    assert directives["default-src"] == ["'none'"]
    for name in ("script-src", "style-src", "font-src", "connect-src", "form-action"):
        assert directives[name] == ["'self'"], name


def test_a_page_may_not_be_framed() -> None:
    assert settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]["frame-ancestors"] == ["'none'"]
    assert settings.X_FRAME_OPTIONS == "DENY"


def test_every_page_asks_who_it_is_by_default() -> None:
    assert "django.contrib.auth.middleware.LoginRequiredMiddleware" in settings.MIDDLEWARE


def test_times_are_kept_with_their_zone() -> None:
    assert settings.USE_TZ is True
    assert settings.TIME_ZONE == "UTC"


def test_a_read_opens_no_transaction() -> None:
    assert connection.settings_dict["ATOMIC_REQUESTS"] is False


def test_tests_run_with_their_own_settings_however_they_are_started() -> None:
    assert settings.SETTINGS_MODULE == "tests.settings"
