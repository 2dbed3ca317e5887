"""Settings, read from the environment; the defaults serve a developer's machine.

DATABASE_URL, REDIS_URL (redis:// or unix://), DJANGO_SECRET_KEY (needed where several processes serve),
SNECK_VAR (files, default var/), SNECK_HOSTS (comma separated), SNECK_SITE (address that links in mail begin with;
default: https:// and the first of SNECK_HOSTS),
SNECK_SMTP_HOST / SNECK_SMTP_PORT / SNECK_SMTP_USER / SNECK_SMTP_PASSWORD / SNECK_SMTP_SECURITY (none, starttls or
tls), SNECK_FROM (address that mail comes from),
SNECK_CLAMD (virus scanner: path of clamd's socket, or host:port; default none),
SNECK_DEMO=1 (the demo: no second factor, mail page), SNECK_DEBUG=1.
"""

import secrets
from pathlib import Path
from typing import Any

import environ
from bootstrap_wrapper import get_bootstrap_dir
from celery.schedules import crontab
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from portfolio.demo.secret import kept_key

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()
VAR = Path(env("SNECK_VAR", default=str(BASE_DIR / "var"))).absolute()

SNECK_DEMO = env.bool("SNECK_DEMO", default=False)
DEBUG = env.bool("SNECK_DEBUG", default=False)
# Without a key of one's own there is no well-known one to fall back on: each process makes its own.
SECRET_KEY = env("DJANGO_SECRET_KEY", default="") or (
    kept_key(VAR / "secret-key") if SNECK_DEMO else secrets.token_urlsafe(50)
)
SECURE = not (DEBUG or SNECK_DEMO) and env.bool("SNECK_HTTPS", default=True)
_HOSTS = [host for host in env.list("SNECK_HOSTS", default=[]) if host]
ALLOWED_HOSTS = _HOSTS or ["localhost", "127.0.0.1", "[::1]", "testserver"]
# A name that stands for several (".example.org", "*") is no address.
_FIRST = next((host for host in _HOSTS if not host.startswith((".", "*"))), None)
SNECK_SITE = env(
    "SNECK_SITE", default=f"http{'s' if SECURE else ''}://{_FIRST}" if _FIRST else "http://localhost:8000"
).rstrip("/")
"""What links in mail begin with: the address under which readers reach this site."""

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.humanize",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "django_filters",
    "django_htmx",
    "django_tables2",
    "simple_history",
    "portfolio",
    "inspections",
    "notifications",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "portfolio.access.SecondFactorMiddleware",
]
ROOT_URLCONF = "portfolio.urls"
WSGI_APPLICATION = "portfolio.wsgi.application"
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
                "portfolio.views.context.page",
            ],
        },
    }
]

DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{VAR / 'sneck.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "portfolio.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "homes"
ACCOUNT_ADAPTER = "portfolio.access.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
MFA_ADAPTER = "portfolio.access.SecondFactorAdapter"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes"]
MFA_TOTP_ISSUER = "Sneck"
SECOND_FACTOR_ROLES = [] if SNECK_DEMO else env.list("SNECK_SECOND_FACTOR_ROLES", default=["agent"])

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "Europe/London"
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = VAR / "static"
STATICFILES_DIRS = [("bootstrap", get_bootstrap_dir())]
# Compressing takes half a minute of processor time, which every start of a demonstration would wait for.
STATIC_STORAGE = (
    "django.contrib.staticfiles.storage.ManifestStaticFilesStorage"
    if SNECK_DEMO
    else "whitenoise.storage.CompressedManifestStaticFilesStorage"
)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": STATIC_STORAGE},
}
MEDIA_ROOT = VAR / "files"
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
UPLOAD_MAX_BYTES = 20 * 1024 * 1024
UPLOAD_REQUEST_MAX_BYTES = 100 * 1024 * 1024
"""Of all that is sent at once: several photos, each within its own limit."""
FILE_UPLOAD_HANDLERS = [
    "portfolio.documents.upload.StopsAtLimit",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
JOB_LINK_DAYS = 90
"""How long the link of a job is good, if the job is not closed before."""
EVIDENCE_MOST, EVIDENCE_EVER = 30, 200
"""Pieces of evidence that one defect may hold, and those it may ever have had: what is withdrawn stays on record."""
CLAMD = env("SNECK_CLAMD", default="")
CLAMD_SECONDS = 30

EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = env("SNECK_SMTP_HOST", default="localhost")
EMAIL_PORT = env.int("SNECK_SMTP_PORT", default=25)
EMAIL_HOST_USER = env("SNECK_SMTP_USER", default="")
EMAIL_HOST_PASSWORD = env("SNECK_SMTP_PASSWORD", default="")
SMTP_SECURITY = env("SNECK_SMTP_SECURITY", default="none")
if SMTP_SECURITY not in ("none", "starttls", "tls"):
    raise ImproperlyConfigured("SNECK_SMTP_SECURITY is one of: none, starttls, tls.")
EMAIL_USE_TLS, EMAIL_USE_SSL = SMTP_SECURITY == "starttls", SMTP_SECURITY == "tls"
EMAIL_TIMEOUT = 10
SMTP_LAST_ANSWER_SECONDS = 120
"""How long the mail server may take over a message it was handed: cut short, it might come twice."""
DEFAULT_FROM_EMAIL = env("SNECK_FROM", default="Sneck <sneck@example.org>")

MINUTE, HOUR = 60, 60 * 60
NOTIFICATION_DELAYS = [
    MINUTE, 5 * MINUTE, 15 * MINUTE, HOUR, 4 * HOUR, *[12 * HOUR] * 9
]  # fmt: skip
"""Seconds until the next try of a message that the mail server puts off; after the last it is given up: five days."""
NOTIFICATION_CLAIM_SECONDS = 10 * MINUTE
"""A message longer in one process's hands than this was left behind; longer than any talk with a mail server."""
NOTIFICATION_UNCLEAR_SECONDS = 10 * MINUTE
"""How long after an answer was lost a message is sent again."""
NOTIFICATION_MOST_LOST = 3
"""How often the answer to one message may be lost before a person has to decide."""
NOTIFICATION_CAUSES = {
    "danger": "inspections.causes.danger_gone",
    "dangers": "notifications.reminders.at_once.dangers_gone",
    "digest": "notifications.reminders.digest.why_gone",
    "job": "inspections.causes.job_gone",
    "papers": "notifications.papers.causes.papers_gone",
    "renewal_request": "notifications.papers.causes.renewal_gone",
    "withdrawn": "notifications.reminders.at_once.withdrawn_gone",
}
"""Who knows whether a message of this kind still has a cause: dotted paths to functions of the message that say why
it is not to be sent, or "" when it is."""
NOTIFICATION_AFTER = {"papers": "notifications.papers.after.copies_given"}
"""What follows when the mail server has taken a message of this kind that says so: dotted paths to functions of the
message and the moment."""

FACT_SOURCES = ["inspections.facts.DEFECTS"]
"""Where the gate learns of facts kept outside `portfolio`: dotted paths to `portfolio.facts.FactSource`s."""

DEMO_PARTS = ["inspections.demo.load", "inspections.demo.mend"]
"""What other apps add to the demonstration once its homes are there: dotted paths to functions of the agency and the
moment."""

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 12 * 60 * 60
SECURE_SSL_REDIRECT = SECURE
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if SECURE else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = SECURE
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if env.bool("SNECK_BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    # Tries are counted by the address of the reader: by the proxy's, one of them could shut all others out.
    ALLAUTH_TRUSTED_PROXY_COUNT = 1
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [SELF],
        "frame-ancestors": [NONE],
    }
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"without_links": {"()": "inspections.log.WithoutLinks"}},
    "loggers": {name: {"filters": ["without_links"]} for name in ("django.request", "django.server")},
}
"""A log must not hold the secret address of a job or of somebody's calendar."""

CACHES: dict[str, dict[str, Any]] = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
REDIS_URL = f"unix://{VAR / 'redis.sock'}" if SNECK_DEMO else env("REDIS_URL", default="")
if REDIS_URL:
    # Rate limits of the log-in live in the cache; several web processes must share them. Emptying the cache
    # must not empty the queue of tasks, hence another numbered database.
    CACHES["default"] = {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
        "OPTIONS": {"db": 1},
    }
CELERY_BROKER_URL = REDIS_URL.replace("unix://", "redis+socket://") or "redis://localhost:6379/0"
CELERY_TASK_IGNORE_RESULT = True
CELERY_TIMEZONE = "Europe/London"
# A task is done when it has ended, not when it was fetched: a killed worker's tasks run again. Redis gives
# them back only after `visibility_timeout` seconds, and looks for them every `unacked_restore_interval`.
CELERY_TASK_ACKS_LATE = CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 300,
    "unacked_restore_throttle": 1,
    "unacked_restore_interval": 10,
}
# A page must not wait for a broker that is away: what is due is also found by the tasks below.
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0, "interval_step": 0.2}
CELERY_BEAT_SCHEDULE = {
    "catch-up": {"task": "portfolio.catch_up", "schedule": crontab(minute=2)},
    "messages": {"task": "notifications.sweep", "schedule": 60.0, "options": {"expires": 55}},
    "tell": {
        "task": "notifications.tell",
        "schedule": crontab(minute="*/15"),
        "options": {"expires": 14 * MINUTE},
    },
    "catch-up-after-midnight": {"task": "portfolio.catch_up", "schedule": crontab(hour=0, minute=7)},
}
"""All that runs by the clock. Hours are London's, so the law's new day begins at hour 0."""

DEMO_MAIL = VAR / "mail"
"""Where the demonstration's post office keeps every message."""
