"""Django settings. Every value an operator may change is read from the environment."""

from __future__ import annotations

import secrets
from importlib.util import find_spec
from pathlib import Path

import django_stubs_ext
from csp.constants import NONE, SELF
from django.utils.translation import gettext_lazy as _

from facility.project import env

django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent.parent
DATA_DIR = Path(env.text("DEEPSTEAD_DATA") or BASE_DIR / "var" / "main").resolve()
EVIDENCE_DIR = DATA_DIR / "evidence"
BACKUP_COPIES = [Path(name).resolve() for name in env.words("DEEPSTEAD_BACKUP_COPY")]
BACKUP_COMMAND = env.text("DEEPSTEAD_BACKUP_COMMAND")
DEMO = (DATA_DIR / "demo-data").is_file()

DEBUG = env.boolean("DEEPSTEAD_DEBUG", default=False)


def _secret_key() -> str:
    """Return the key from the environment or from the data folder, made at first use."""
    given = env.text("DEEPSTEAD_SECRET_KEY")
    if given:
        return given
    path = DATA_DIR / "secret-key"
    if not path.is_file():
        DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(64), encoding="utf-8")
    return path.read_text(encoding="utf-8").strip()


SECRET_KEY = _secret_key()
ALLOWED_HOSTS = env.words("DEEPSTEAD_HOSTS", "*")
CSRF_TRUSTED_ORIGINS = env.words("DEEPSTEAD_ORIGINS")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_include_bootstrap",
    "crispy_forms",
    "crispy_bootstrap5",
    "axes",
    "csp",
    "facility",
    "maintenance",
    "treatments",
]

MIDDLEWARE = [
    "facility.accounts.proxies.ClientAddressMiddleware",
    "facility.project.logs.Requests",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "facility.project.outage.Sessions",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "facility.accounts.middleware.NoStoreMiddleware",
    "facility.accounts.trusted_header.TrustedHeaderMiddleware",
    "facility.accounts.middleware.LeftAloneMiddleware",
    "axes.middleware.AxesMiddleware",
    "facility.project.addresses.Possible",
]

ROOT_URLCONF = "facility.project.urls"
WSGI_APPLICATION = "facility.project.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "facility.readiness.context.title_block",
            ],
        },
    },
]

DATABASES = {"default": env.database(env.text("DEEPSTEAD_DATABASE_URL"), DATA_DIR)}
DATABASE_ROUTERS = ["facility.pack.snapshot.Router"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

#: what is done by itself, and when: shown on the page of the jobs, which stands on a lower floor
JOB_PLAN = "facility.project.schedule.DAILY"

AUTH_USER_MODEL = "facility.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "accounts:login"
LOGIN_REDIRECT_URL = "readiness:home"
LOGOUT_REDIRECT_URL = "accounts:login"

AXES_FAILURE_LIMIT = env.integer("DEEPSTEAD_LOGIN_TRIES", 8, least=1)
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "registration/locked.html"

#: a browser left alone this long is signed out; 0: only after 12 h
IDLE_MIN = env.integer("DEEPSTEAD_IDLE_MIN", 60)
#: who may name the person by a header: addresses of proxies in front of the box
HEADER_USER = env.text("DEEPSTEAD_HEADER_USER")
HEADER_FROM = env.words("DEEPSTEAD_HEADER_FROM")
#: whose X-Forwarded-For counts
TRUSTED_PROXIES = env.networks("DEEPSTEAD_TRUSTED_PROXIES")
#: a provider of OpenID Connect beside the password; empty: none
OIDC_ISSUER = env.text("DEEPSTEAD_OIDC_ISSUER")
OIDC_CLIENT = env.text("DEEPSTEAD_OIDC_CLIENT")
OIDC_SECRET = env.text("DEEPSTEAD_OIDC_SECRET")
OIDC_CLAIM = env.text("DEEPSTEAD_OIDC_CLAIM", "preferred_username")

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English"))]
LOCALE_PATHS = [BASE_DIR / "facility" / "locale"]
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
_FONTS = find_spec("fontpkg_ibm_plex_sans")
STATICFILES_DIRS = [("fonts", Path(str(_FONTS.origin)).parent / "files")] if _FONTS else []
WHITENOISE_USE_FINDERS = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"

BEHIND_TLS = env.boolean("DEEPSTEAD_TLS", default=False)
SESSION_COOKIE_SECURE = BEHIND_TLS
CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS
# a monitor on this machine or in its network asks without TLS
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$"]
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_TLS else 0
# other names under the site's domain, and lists kept by browsers, are not this program's to decide
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
SECURE_PROXY_SSL_HEADER = (
    ("HTTP_X_FORWARDED_PROTO", "https") if env.boolean("DEEPSTEAD_TRUST_PROXY", default=False) else None
)
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000
DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}

#: the mail server that takes what the box sends; no host: no e-mail leaves
EMAIL_HOST = env.text("DEEPSTEAD_EMAIL_HOST")
EMAIL_USE_TLS, EMAIL_USE_SSL = env.mail_security("DEEPSTEAD_EMAIL_SECURITY", "starttls")
EMAIL_PORT = env.integer("DEEPSTEAD_EMAIL_PORT", 465 if EMAIL_USE_SSL else 587 if EMAIL_USE_TLS else 25, least=1)
EMAIL_HOST_USER = env.text("DEEPSTEAD_EMAIL_USER")
EMAIL_HOST_PASSWORD = env.text("DEEPSTEAD_EMAIL_PASSWORD")
EMAIL_TIMEOUT = 20  # for each step; facility.notices.mail_backend holds a limit on the whole
EMAIL_BACKEND = "facility.notices.mail_backend.Backend"
DEFAULT_FROM_EMAIL = env.mail_address("DEEPSTEAD_EMAIL_SENDER", f"deepstead@{EMAIL_HOST or 'localhost'}")
#: how others reach this box, for links in notices
OWN_ADDRESS = env.web_address("DEEPSTEAD_ADDRESS")
#: hosts of push servers and webhooks that may lie on this very machine
NOTICE_LOCAL_ALLOWED = env.words("DEEPSTEAD_NOTICE_LOCAL_ALLOWED")
#: who gets the signed head of the log by mail every night
CHECKPOINT_MAIL = env.words("DEEPSTEAD_CHECKPOINT_MAIL")
#: what a monitor must send to read the numbers; empty: nobody may
METRICS_TOKEN = env.text("DEEPSTEAD_METRICS_TOKEN")
#: what a program must send to read answers without an account; empty: none may
API_TOKEN = env.text("DEEPSTEAD_API_TOKEN")
#: what is asked every few minutes while all is well, so that somebody outside notices when it stops; empty: nothing
HEARTBEAT_URL = env.call_address("DEEPSTEAD_HEARTBEAT_URL")
HEARTBEAT_MIN = env.integer("DEEPSTEAD_HEARTBEAT_MIN", 5, least=1)
DISK_LEAST_MIB = env.integer("DEEPSTEAD_DISK_LEAST_MIB", 200)

LOG_FORMAT = env.one_of("DEEPSTEAD_LOG_FORMAT", ("plain", "json"))
LOG_REQUESTS = env.boolean("DEEPSTEAD_LOG_REQUESTS", default=LOG_FORMAT == "json")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"()": "facility.project.logs.Plain"},
        "json": {"()": "facility.project.logs.Json"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"facility.requests": {"level": "INFO" if LOG_REQUESTS else "WARNING"}},
}
