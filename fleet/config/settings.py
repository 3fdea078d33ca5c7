"""Settings from the environment (`.env` is read); the defaults serve one small machine without any server."""

from __future__ import annotations

import os
from pathlib import Path

import environ
from csp.constants import NONCE, NONE, SELF

from fleet.config.own_key import key_kept_in

# A VRT file may make GDAL read any file of the server: never load those drivers.
os.environ.setdefault("GDAL_SKIP", "OGR_VRT,VRT,GTI")

BASE_DIR = Path(__file__).resolve().parent.parent.parent
env = environ.Env()
environ.Env.read_env(BASE_DIR / ".env")

DATA_DIR = Path(env.str("ROOTROUND_DATA", default=str(BASE_DIR / ".data"))).resolve()
# Customers' data and, without an environment of its own, the key: for the owner alone.
DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)


SECRET_KEY = env.str("SECRET_KEY", default="") or key_kept_in(DATA_DIR)
# Whether the environment gave it; a company's should (see the checks of `fleet.apps`).
HAS_OWN_SECRET_KEY = bool(env.str("SECRET_KEY", default=""))
DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "fleet",
    "sites",
    "weather",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "csp",
    "axes",
]
MIDDLEWARE = [
    "fleet.request_log.RequestLogMiddleware",
    # Headers stand before whatever may answer, so that static files, redirects and errors carry them too.
    "csp.middleware.CSPMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "fleet.plain_requests.PlainRequestsMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.session_limits.SessionLimitsMiddleware",
    "fleet.upload_door.UploadDoorMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "fleet.customer_trail.CustomerTrailMiddleware",
    "fleet.access.RoleMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "fleet.config.urls"
WSGI_APPLICATION = "fleet.config.wsgi.application"
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
                "csp.context_processors.nonce",
                "fleet.context.frame",
            ],
        },
    }
]

DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'rootround.sqlite3'}")}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        # A book of design size is written in one transaction of up to half a minute: others wait, none fails.
        "timeout": 60,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "fleet.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "fleet:home"
LOGOUT_REDIRECT_URL = "login"
# Roles that must have a second factor; `administrator` is advised where pages can be reached from outside.
SECOND_FACTOR_ROLES = env.list("ROOTROUND_SECOND_FACTOR", default=[])
# Links by which a person sets a password [s].
PASSWORD_RESET_TIMEOUT = 3 * 24 * 3600
# A key that was in use before: sessions, links and second factors made with it still open.
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
# Entries of the audit log are kept so long [days].
AUDIT_DAYS = env.int("ROOTROUND_AUDIT_DAYS", default=730)
AXES_LOCKOUT_TEMPLATE = "registration/shut.html"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
MEDIA_ROOT = DATA_DIR / "media"
# Static files are served straight from the apps; `collectstatic` is for a web server in front.
WHITENOISE_USE_FINDERS = True
WHITENOISE_ALLOW_ALL_ORIGINS = False
WHITENOISE_AUTOREFRESH = env.bool("ROOTROUND_STATIC_FROM_SOURCE", default=True)
if WHITENOISE_AUTOREFRESH:
    STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "object-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}

# HTTPS: on by ROOTROUND_HTTPS behind a proxy that ends TLS; off for the demo on this machine.
HTTPS = env.bool("ROOTROUND_HTTPS", default=False)
SECURE_SSL_REDIRECT = HTTPS
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
# Probes come over plain HTTP from beside; they tell nothing of the company.
SECURE_REDIRECT_EXEMPT = [r"^health/$", r"^ready/$", r"^metrics$"]
# Who may read /metrics from elsewhere; without it only this machine.
METRICS_TOKEN = env.str("ROOTROUND_METRICS_TOKEN", default="")
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
# Kept by the browser for this host alone, over HTTPS alone; without HTTPS no browser takes that prefix.
SESSION_COOKIE_NAME = "__Host-rootround" if HTTPS else "rootround"
CSRF_COOKIE_NAME = "__Host-rootround-form" if HTTPS else "rootround-form"
CSRF_COOKIE_HTTPONLY = True
# Longest session of anybody: a technician's phone, from one morning to the next day's evening [s].
SESSION_COOKIE_AGE = 36 * 3600
# Of everybody else: from the sign-in [h], and without a page asked for [min].
SESSION_HOURS = env.int("ROOTROUND_SESSION_HOURS", default=16)
IDLE_MINUTES = env.int("ROOTROUND_IDLE_MINUTES", default=240)
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000

CELERY_BROKER_URL = env.str("CELERY_BROKER_URL", default=f"sqla+sqlite:///{DATA_DIR / 'broker.sqlite3'}")
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
# When the nightly work starts, in the company's own time zone [h].
NIGHTLY_HOUR = env.int("ROOTROUND_NIGHTLY_HOUR", default=3)

# Weather services: who we are to them, and where they are. Open-Meteo is off until there is a key.
OPEN_METEO_KEY = env.str("ROOTROUND_OPEN_METEO_KEY", default="")
SOURCE_CONTACT = env.str("ROOTROUND_CONTACT", default="")
SOURCE_URLS = {
    "nasa_power": env.str("ROOTROUND_NASA_POWER_URL", default="https://power.larc.nasa.gov"),
    "nws": env.str("ROOTROUND_NWS_URL", default="https://api.weather.gov"),
    "open_meteo": env.str(
        "ROOTROUND_OPEN_METEO_URL", default="https://customer-api.open-meteo.com" if OPEN_METEO_KEY else ""
    ),
    "ncei": env.str("ROOTROUND_NCEI_URL", default="https://www.ncei.noaa.gov"),
}
# The operator's own OSRM server for driving times; empty: the built street network, else estimates.
OSRM_URL = env.str("ROOTROUND_OSRM_URL", default="")
WEATHER_SOURCES = env.list("ROOTROUND_WEATHER_SOURCES", default=["nasa_power", "ncei", "nws"])
# Points that are pulled as one piece of work.
WEATHER_BATCH = env.int("ROOTROUND_WEATHER_BATCH", default=50)
WEATHER_DROP_DIR = DATA_DIR / "weather_drop"
WEATHER_ANSWERS_DIR = DATA_DIR / "weather_answers"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
        "json": {"()": "fleet.request_log.JsonLines"},
    },
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": "json" if env.bool("ROOTROUND_LOG_JSON", default=False) else "line",
        }
    },
    "root": {"handlers": ["stderr"], "level": env.str("ROOTROUND_LOG_LEVEL", default="WARNING")},
}
