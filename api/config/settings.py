"""Settings. Everything that differs between installations comes from `environment`; nothing else does."""

import contextlib
import secrets
from typing import Any

import dj_database_url

from api.config import environment

BASE_DIR = environment.ROOT
DATA_DIRECTORY = environment.DATA_DIRECTORY
DATA_DIRECTORY.mkdir(parents=True, exist_ok=True)


def _secret_key() -> str:
    """Use the operator's key, or make one that outlives this process and is readable by its owner only."""
    if environment.SECRET_KEY:
        return environment.SECRET_KEY
    path = DATA_DIRECTORY / "secret_key"
    if not path.exists():
        # Linked into place when whole: of several processes that start at once, all read the first one's.
        draft = DATA_DIRECTORY / f"secret_key.{secrets.token_hex(8)}"
        draft.touch(mode=0o600)
        draft.write_text(secrets.token_urlsafe(50))
        with contextlib.suppress(FileExistsError):
            path.hardlink_to(draft)
        draft.unlink()
    return path.read_text()


def _database() -> dict[str, Any]:
    """SQLite tuned so that concurrent writers wait instead of failing, or whatever the operator names."""
    url = environment.DATABASE_URL or f"sqlite:///{DATA_DIRECTORY / 'spanstock.sqlite3'}"
    database: dict[str, Any] = dict(dj_database_url.parse(url))
    if "sqlite" in database["ENGINE"]:
        database["OPTIONS"] = {
            # A deferred transaction that turns to writing late fails at once when another has written;
            # taking the write lock at BEGIN makes it wait its turn for `timeout` seconds.
            "transaction_mode": "IMMEDIATE",
            "timeout": 60,
            # FULL: an acknowledged entry survives a power cut. recursive_triggers: without it
            # INSERT OR REPLACE would slip past the triggers that keep the ledger immutable.
            "init_command": (
                "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; "
                "PRAGMA recursive_triggers=ON; PRAGMA foreign_keys=ON; PRAGMA cache_size=-32000;"
            ),
        }
    else:
        # Unless the address says otherwise: readiness must answer even where packets are swallowed.
        database["OPTIONS"] = {"connect_timeout": 10} | database.get("OPTIONS", {})
        database["CONN_MAX_AGE"] = 60
        database["CONN_HEALTH_CHECKS"] = True
    return database


SECRET_KEY = _secret_key()
DEBUG = environment.IS_DEBUG
ALLOWED_HOSTS = environment.ALLOWED_HOSTS
DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "api.User"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "rest_framework",
    "graphene_django",
    "drf_spectacular",
    "inventory",
    "jobs",
    "api",
]

MIDDLEWARE = [
    # First, so that whatever the others refuse or log carries the request's id.
    "api.config.logs.RequestIds",
    "api.config.metrics.Measured",
    "api.sign_in.cookies.SecureCookies",
    "django.middleware.security.SecurityMiddleware",
    "api.pages.security.ContentSecurity",
    "api.pages.compressing.CompressFieldPage",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "api.config.urls"
WSGI_APPLICATION = "api.config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
            ]
        },
    }
]

LANGUAGE_CODE = "en"
# Those that the crew's pages and the cautions are translated to; their words are in `api/locale`.
LANGUAGES = [("en", "English"), ("es", "Español")]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

LOGIN_URL = "pages:sign_in"

STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "api" / "pages" / "static"]
# Served from where they lie in the packages, so there is nothing to collect, forget or find stale.
WHITENOISE_USE_FINDERS = True

# To standard error, where whatever supervises the process collects it.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "api.config.logs.JsonFormatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["stderr"], "level": environment.LOG_LEVEL},
}

AUTHENTICATION_BACKENDS = ["api.sign_in.people.LockingBackend"]
# A working day: whoever signs in in the morning stays so until night, and no longer.
SESSION_COOKIE_AGE = 14 * 3600
if environment.TRUSTED_PROXIES:
    # Only where the operator vouches for who sets it.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

REST_FRAMEWORK = {
    # Tokens come first, so that who is not signed in is told so by 401. There is no HTTP Basic: it would
    # pay a slow hash with each request.
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.sign_in.bearer.BearerAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["api.wire.json_bodies.JsonBodyParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_THROTTLE_CLASSES": [
        "rest_framework.throttling.AnonRateThrottle",
        "rest_framework.throttling.UserRateThrottle",
    ],
    # A phone that catches up after a day without a signal sends a few hundred; more in a minute is a fault.
    "DEFAULT_THROTTLE_RATES": {"anon": "60/min", "user": "1200/min", "sign_in": "20/min", "token": "60/min"},
    # Without it whoever writes an X-Forwarded-For of their own would choose the address that is throttled.
    "NUM_PROXIES": environment.TRUSTED_PROXIES,
    "DEFAULT_SCHEMA_CLASS": "api.rest.describing.DoorSchema",
    "EXCEPTION_HANDLER": "api.errors.answer_exception",
    # A query parameter must not change the form of the answer.
    "URL_FORMAT_OVERRIDE": None,
}

SPECTACULAR_SETTINGS = {
    "TITLE": "Spanstock",
    "DESCRIPTION": "Materials of turning coaxial trunk cable into conduit: what is held and what work took.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "PREPROCESSING_HOOKS": ["api.rest.reference.keep_addresses_without_slash"],
    "POSTPROCESSING_HOOKS": ["api.rest.reference.add_components_and_problems"],
}

# For `graphql_schema`, which writes the schema to a file for other programs.
GRAPHENE = {"SCHEMA": "api.graphql.schema.schema"}
