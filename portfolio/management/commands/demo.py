"""`manage.py demo`: the demonstration, with everything it needs, until Ctrl-C."""

import fcntl
import os
import shutil
import socket
import sys
import time
from argparse import ArgumentParser
from contextlib import closing
from io import StringIO
from pathlib import Path
from typing import TextIO

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import BaseCommand, CommandError, call_command
from django.db import connections

from portfolio.demo import programs, scenario, sheet
from portfolio.demo.supervisor import ChildFailed, Stopped, Supervisor

MADE_BY_DEMO = (
    "sneck.sqlite3",
    "sneck.sqlite3-wal",
    "sneck.sqlite3-shm",
    "beat",
    "demo",
    "redis.sock",
    "files",
    "log",
    "mail",
    "static",
)
"""All that `--fresh` throws away, by name inside SNECK_VAR."""
LONGEST_SOCKET_PATH = 107
WAIT_FOR_PORT_SECONDS = 3


class Command(BaseCommand):
    help = "Starts the demonstration: database, invented homes, web server, tasks and a post office."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port of the web server (8000)")
        parser.add_argument(
            "--host", default="127.0.0.1", help="address to serve on (127.0.0.1: this machine only)"
        )
        parser.add_argument(
            "--fresh", action="store_true", help="throw the demonstration's own data away first"
        )

    def handle(self, *, port: int, host: str, fresh: bool, **options: object) -> None:
        if not settings.SNECK_DEMO or _address(host, port) != settings.SNECK_SITE:
            _start_again_as_demo(_address(host, port))
        _refuse_unless_possible()
        settings.VAR.mkdir(parents=True, exist_ok=True)
        with _only_one(settings.VAR / "demo.lock"):
            _refuse_port_in_use(host, port)
            if fresh:
                _throw_away()
            try:
                self._serve(host, port)
            except Stopped:
                self.stdout.write("Stopped.")
            except ChildFailed as error:
                raise CommandError(str(error)) from error

    def _serve(self, host: str, port: int) -> None:
        smtp_port = programs.free_port()
        environment = os.environ | {"SNECK_SMTP_HOST": "127.0.0.1", "SNECK_SMTP_PORT": str(smtp_port)}
        if host != "127.0.0.1":
            environment["SNECK_HOSTS"] = "*"
        say = self.stderr.write
        with Supervisor(environment=environment, logs=settings.VAR / "log", say=say) as supervisor:
            supervisor.start(programs.redis())
            self._prepare()
            for program in (programs.post_office(smtp_port), *programs.tasks(), programs.web(host, port)):
                supervisor.start(program)
            self._welcome(host, port)
            supervisor.watch()

    def _prepare(self) -> None:
        """Bring the database and the static files up to date; fill an empty database."""
        self._tell("Preparing the database…")
        call_command("migrate", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        if not get_user_model().objects.exists():
            self._tell("Inventing some homes…")
            call_command("load_demo", stdout=StringIO())  # it would print what is printed below
        connections.close_all()

    def _tell(self, line: str) -> None:
        """Print it now, also into a pipe: what comes next takes a while."""
        self.stdout.write(line)
        self.stdout.flush()

    def _welcome(self, host: str, port: int) -> None:
        """Print the address and the agency's log-ins."""
        self.stdout.write(f"\nSneck is ready at {_address(host, port)}/\n\nSign in as")
        for user in scenario.people()["agency"]["users"]:
            note = f"  ({user['note']})" if "note" in user else ""
            self.stdout.write(f"  {user['role']:<11} {user['email']:<34} {user['password']}{note}")
        self.stdout.write(f"\nWhat it writes to people, contractors' links too: {_address(host, port)}/mail/")
        self.stdout.write("\nThe agency's old list, to try an import with:")
        for path in filter(Path.exists, sheet.paths_in(settings.VAR / "demo")):
            self.stdout.write(f"  {path}")
        self.stdout.write(
            "\nStop it with Ctrl-C. What you did is kept for the next start; --fresh begins anew."
        )
        self.stdout.flush()


def _address(host: str, port: int) -> str:
    return f"http://{'localhost' if host == '127.0.0.1' else host}:{port}"


def _start_again_as_demo(address: str) -> None:
    """Replace this process by one that reads the settings as a demonstration at this address does."""
    environment = os.environ | {"SNECK_DEMO": "1", "SNECK_SITE": address}
    os.execve(sys.executable, [sys.executable, *sys.argv], environment)  # noqa: S606


def _refuse_unless_possible() -> None:
    if os.environ.get("DATABASE_URL"):
        raise CommandError(
            "DATABASE_URL is set. The demonstration keeps to a database of its own: unset DATABASE_URL first."
        )
    if shutil.which("redis-server") is None:
        raise CommandError(
            "redis-server is missing. Install it, for example on Debian as root with:\n"
            "  apt-get update && apt-get install -y --no-install-recommends redis-server"
        )
    if len(os.fsencode(settings.VAR / "redis.sock")) > LONGEST_SOCKET_PATH:
        raise CommandError(
            f"The path {settings.VAR} is too long for a socket. Set SNECK_VAR to a shorter one."
        )


def _only_one(path: Path) -> TextIO:
    """Hold this lock file while the demonstration runs; the kernel lets go of it with the process."""
    lock = path.open("a+", encoding="ascii")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        lock.close()
        raise CommandError(
            f"A demonstration runs from {path.parent} already. Stop it, or set SNECK_VAR to another."
        ) from error
    return lock


def _refuse_port_in_use(host: str, port: int) -> None:
    """Try for a moment: the children of a demonstration that was killed may still be letting go."""
    for attempt in range(WAIT_FOR_PORT_SECONDS * 5):
        time.sleep(0.2 if attempt else 0)
        with closing(socket.socket()) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except (OSError, OverflowError) as error:
                reason = error
            else:
                return
    raise CommandError(
        f"Port {port} on {host} cannot be had ({reason}). Choose another: ./run demo --port {port + 1}"
    )


def _throw_away() -> None:
    for name in MADE_BY_DEMO:
        path = settings.VAR / name
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)
