"""What every test stands on: no network, no broker, quick passwords, steady Hypothesis examples."""

import gc
import hashlib
import ipaddress
import os
import shutil
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings as project
from django.core.cache import cache
from django.db import connections, transaction
from django.test.utils import override_settings
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, sync_playwright
from pytest_django import DjangoDbBlocker

# Playwright's synchronous interface runs inside an event loop, where Django else forbids its database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
ELSEWHERE = ("REDIS_URL", "SNECK_DEMO", "SNECK_DEBUG")
"""Settings of a site that is being served; read before this file is, and not meant for tests."""

settings.register_profile(
    "steady",
    max_examples=50,
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.register_profile("quick", settings.get_profile("steady"), max_examples=15)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
HEADLESS = os.environ.get("CHROMIUM_HEADLESS_SHELL", "/usr/bin/chromium-headless-shell")
"""The same engine without the windows around its pages, which cost half of its work."""
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",  # a container's root has no user namespaces to build the sandbox from
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_configure(config: pytest.Config) -> None:
    if present := [name for name in ELSEWHERE if os.environ.get(name)]:
        raise pytest.UsageError(f"these would turn the tests from what they test, unset them: {present}")
    _refuse_network()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The full run looks for tests of the browser in one folder only, and would leave out one that is elsewhere."""
    folder = Path(__file__).parent / "browser"
    lost = [
        item.nodeid
        for item in items
        if item.get_closest_marker("browser") and folder not in item.path.parents
    ]
    if lost:
        raise pytest.UsageError(f"tests of the browser belong into tests/browser: {lost}")


def pytest_collection_finish() -> None:
    """What is loaded by now stays to the end: looking through it for garbage took a tenth of the time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 50, 100)


def _refuse_network() -> None:
    """Any connection that leaves this machine fails at once, in every test and in what it imports."""
    connect, connect_ex = socket.socket.connect, socket.socket.connect_ex

    def checked(sock: socket.socket, address: object) -> None:
        if sock.family == socket.AF_UNIX:
            return
        host = str(address[0]) if isinstance(address, tuple) else str(address)
        if host != "localhost" and not ipaddress.ip_address(host).is_loopback:
            raise RuntimeError(f"A test tried to reach {host}. Tests use this machine only.")

    def guarded(sock: socket.socket, address: object) -> None:
        checked(sock, address)
        connect(sock, address)  # type: ignore[arg-type]

    def guarded_ex(sock: socket.socket, address: object) -> int:
        checked(sock, address)
        return connect_ex(sock, address)  # type: ignore[arg-type]

    setattr(socket.socket, "connect", guarded)  # noqa: B010 - a method may not be assigned to
    setattr(socket.socket, "connect_ex", guarded_ex)  # noqa: B010


@pytest.fixture(scope="session", autouse=True)
def _quick_and_alone(media_root: Path) -> Iterator[None]:
    """Quick hashes, plain HTTP, static files as they lie; a second factor only where a test asks."""
    with override_settings(
        PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        SECURE_SSL_REDIRECT=False,
        SESSION_COOKIE_SECURE=False,
        CSRF_COOKIE_SECURE=False,
        SECOND_FACTOR_ROLES=[],
        MEDIA_ROOT=media_root,
        STORAGES={
            **project.STORAGES,
            "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
        },
    ):
        yield


@pytest.fixture(autouse=True)
def _nothing_tried_yet() -> None:
    """Counts of what was tried too often are kept in the cache."""
    cache.clear()


@pytest.fixture
def noon(time_machine: Any) -> None:
    """It is noon of the day of the tests, and stays so."""
    from tests.factories import at

    time_machine.move_to(at().at, tick=False)


@pytest.fixture(scope="session")
def media_root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where uploads of this session go."""
    return tmp_path_factory.mktemp("files")


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
    tmp_path_factory: pytest.TempPathFactory,
    kept_database: Path | None,
) -> None:
    """SQLite in a file, not in memory, so that threads meet on it as they do in service."""
    database = connections["default"]
    if database.vendor == "sqlite":
        file = tmp_path_factory.mktemp("database") / "test.sqlite3"
        database.settings_dict["TEST"]["NAME"] = str(file)
        if kept_database and kept_database.exists():
            shutil.copyfile(kept_database, file)


@pytest.fixture(scope="session")
def kept_database(request: pytest.FixtureRequest, django_db_keepdb: bool) -> Path | None:
    """With --reuse-db on SQLite, where the empty database of an earlier run is, or will be, kept.

    Its name tells by which migrations and packages it was made: with others it is made anew, from the first one.
    """
    if not django_db_keepdb or connections["default"].vendor != "sqlite":
        return None
    root = request.config.rootpath
    own = [path for app in apps.get_app_configs() if (path := Path(app.path)).parent == root]
    made_by = [root / "uv.lock", *(file for path in own for file in sorted(path.glob("migrations/*.py")))]
    digest = hashlib.sha256(b"".join(file.read_bytes() for file in made_by)).hexdigest()
    assert request.config.cache is not None
    return request.config.cache.mkdir("database") / f"{digest[:16]}.sqlite3"


@pytest.fixture(scope="session")
def django_db_setup(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, kept_database: Path | None
) -> Iterator[None]:
    """The database of these tests; what was made anew is kept for the next run where that was asked for."""
    if kept_database and not kept_database.exists():
        part = kept_database.with_suffix(f".{os.getpid()}")
        with django_db_blocker.unblock():
            connections["default"].cursor().execute("VACUUM INTO %s", [str(part)])
        for older in kept_database.parent.glob("*.sqlite3"):
            older.unlink(missing_ok=True)
        part.replace(kept_database)
    yield
    with django_db_blocker.unblock():
        connections.close_all()


@pytest.fixture(scope="module")
def in_common(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A transaction around all tests of a module, for records that they begin with and that are stored once.

    Each test's own transaction lies within it, so that no test sees another's changes; hand each a copy of the
    objects.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="session", autouse=True)
def _no_broker() -> None:
    """What a test sends to Celery stays in this process and is never run behind its back."""
    from portfolio.celery import app

    app.conf.update(broker_url="memory://", broker_transport_options={})


@pytest.fixture(scope="session")
def launched() -> Iterator[Callable[[str], Browser]]:
    """Debian's own browsers by their paths, each started when first asked for and once for the session."""
    with sync_playwright() as playwright:
        started: dict[str, Browser] = {}

        def browser(path: str) -> Browser:
            if path not in started:
                started[path] = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
            return started[path]

        yield browser
        for one in started.values():
            one.close()


@pytest.fixture
def chromium(request: pytest.FixtureRequest, launched: Callable[[str], Browser]) -> Browser:
    """The browser, in which a test opens pages in contexts of its own.

    A test that needs more than pages, such as the reader of PDFs, asks for the `whole` one as this fixture's parameter.
    """
    return launched(CHROMIUM if getattr(request, "param", "") == "whole" else HEADLESS)
