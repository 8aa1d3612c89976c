"""Settings. Everything that differs between installations comes from the environment (see ``.env.example``)."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from urllib.parse import urlsplit

import environ
from celery.schedules import crontab
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = BASE_DIR / ".data"
env = environ.Env()
environ.Env.read_env(BASE_DIR / ".env")

DEBUG = env.bool("DEBUG", False)
PUBLIC_URL = env.str("PUBLIC_URL", "").rstrip("/")
REDIS_URL = env.str("REDIS_URL", "")
# On one machine, on SQLite, with no public address: nothing needs to be set up by hand.
LOCAL = not PUBLIC_URL and not env.str("DATABASE_URL", "")


def _local_secret() -> str:
    """A key made once for this machine, so that a first try needs no setting. Public installations set SECRET_KEY."""
    path = DATA_DIR / "secret_key"
    if not path.exists():
        DATA_DIR.mkdir(mode=0o700, exist_ok=True)
        fresh = path.with_name(f"secret_key.{secrets.token_hex(4)}")
        fresh.touch(mode=0o600)
        fresh.write_text(secrets.token_urlsafe(50))
        # Of two processes that start together, both read the key that came last in place.
        fresh.replace(path)
    return path.read_text()


SECRET_KEY = env.str("SECRET_KEY", "") or ("" if PUBLIC_URL else _local_secret())
if not SECRET_KEY:
    raise ImproperlyConfigured("Set SECRET_KEY: a long random text that stays the same between starts.")

if PUBLIC_URL:
    _address = urlsplit(PUBLIC_URL)
    if _address.scheme not in {"http", "https"} or not _address.hostname:
        raise ImproperlyConfigured("PUBLIC_URL must look like https://portal.example.org")
    ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[_address.hostname])
    CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[f"{_address.scheme}://{_address.netloc}"])
    if _address.scheme == "https":
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
        SECURE_SSL_REDIRECT = True
        SECURE_HSTS_SECONDS = 31_536_000
        SECURE_HSTS_INCLUDE_SUBDOMAINS = True
        SECURE_HSTS_PRELOAD = True
        SESSION_COOKIE_SECURE = True
        CSRF_COOKIE_SECURE = True
else:
    ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["127.0.0.1", "localhost", "[::1]", "testserver"])
    CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "template_partials",
    "django_htmx",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "fleet",
    "shop",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # A list with its rails shrinks tenfold, which a phone with a bad signal feels. Against guessing secrets from
    # sizes, Django pads what it compresses at random, and form tokens are masked anew in every answer.
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "fleet.middleware.PersonMiddleware",
]

ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"
ASGI_APPLICATION = "fleet.asgi.application"
AUTH_USER_MODEL = "fleet.User"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

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
                "fleet.page.page_context",
            ],
        },
    }
]

if LOCAL:
    DATA_DIR.mkdir(mode=0o700, exist_ok=True)
DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'portal.sqlite3'}")}
DATABASES["default"].setdefault("CONN_MAX_AGE", 60)
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # A transaction that reads first and writes later loses its work to another one under SQLite's default mode.
    # IMMEDIATE takes the write lock at the start; WAL lets readers go on meanwhile.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 30,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA cache_size=-64000;",
    }

# Processes a scan from the command line is shared out to. Each takes some 250 MiB.
SCAN_PROCESSES = env.int("SCAN_PROCESSES", min(os.cpu_count() or 1, 2))

if REDIS_URL:
    CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": env.str("CACHE_URL", REDIS_URL),
        }
    }
else:
    # On disk, so that sign-in limits count over all processes.
    CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
            "LOCATION": str(DATA_DIR / "cache"),
            "OPTIONS": {"MAX_ENTRIES": 20_000},
        }
    }

# Without workers a task runs where it is called. With them, one that was begun and not finished is handed out again
# after the visibility timeout, so no task may run that long.
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_EAGER_PROPAGATES = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_SOFT_TIME_LIMIT = 840
CELERY_TASK_TIME_LIMIT = 900
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 1800}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 30
CELERY_TIMEZONE = "America/New_York"
CELERY_BEAT_SCHEDULE = {
    "nightly scan": {"task": "fleet.scan_everyone", "schedule": crontab(hour=3, minute=10)},
    "bench sweep": {"task": "shop.sweep_everyone", "schedule": crontab(minute=20)},
    "learning, once the scans are through": {"task": "fleet.learn_from_all", "schedule": crontab(hour=4, minute=40)},
    "sign of life": {"task": "fleet.answer", "schedule": 60.0, "args": ("beat",), "options": {"expires": 300}},
}

AUTHENTICATION_BACKENDS = [
    "django.contrib.auth.backends.ModelBackend",
    "allauth.account.auth_backends.AuthenticationBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "fleet.accounts.InvitationOnlyAdapter"
ACCOUNT_FORMS = {
    "login": "fleet.accounts.SignInForm",
    "add_email": "fleet.accounts.AddEmailForm",
    "change_password": "fleet.accounts.ChangePasswordForm",
    "set_password": "fleet.accounts.SetPasswordForm",
    "reset_password": "fleet.accounts.ForgottenForm",
    "reset_password_from_key": "fleet.accounts.ForgottenKeyForm",
    "reauthenticate": "fleet.accounts.StillYouForm",
}
ACCOUNT_LOGIN_METHODS = {"email", "username"}
ACCOUNT_SIGNUP_FIELDS = ["email", "username*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "optional"
ACCOUNT_LOGOUT_ON_GET = False
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_LOGIN_TIMEOUT = 900
ACCOUNT_RATE_LIMITS = {"login_failed": "10/m/ip,5/5m/key"}
ALLAUTH_TRUSTED_PROXY_COUNT = env.int("TRUSTED_PROXY_COUNT", 0)
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = False
MFA_TOTP_ISSUER = "Swathkeeper"

SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "fleet.views.errors.csrf_failure"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
    }
}

LANGUAGE_CODE = "en-us"
LANGUAGES = [("en-us", _("English"))]
LOCALE_PATHS = [BASE_DIR / "fleet" / "locale"]
TIME_ZONE = "America/New_York"
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
if LOCAL:
    STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = not PUBLIC_URL
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PUBLIC_URL
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
# Photos and uploads: never served by path, only through a view that asks who is looking.
MEDIA_ROOT = env.path("MEDIA_ROOT", default=str(DATA_DIR / "media"))()
DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "fleet.uploads.BoundedUpload",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]

vars().update(env.email_url("EMAIL_URL", default="consolemail://"))
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", "Swathkeeper <portal@localhost>")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", "WARNING")},
}
