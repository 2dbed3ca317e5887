"""A place of its own for a drill or a measurement: other settings, an empty database, a folder that goes afterwards."""

import os
import secrets
import subprocess
import sys
import tempfile

from django.core.management import CommandError, call_command
from django.db import connection

from portfolio.demo.programs import free_port

SETTINGS = "notifications.drill.settings"


def enter(command: str, **options: object) -> None:
    """Return if this process is in such a place, its database ready; else run the command there, and end with it.

    With DATABASE_URL that database is used. Raises CommandError if it is not empty.
    """
    if os.environ.get("DJANGO_SETTINGS_MODULE") != SETTINGS:
        sys.exit(_elsewhere([command, *(f"--{name}={value}" for name, value in options.items())]))
    if connection.introspection.table_names():
        raise CommandError("The database of DATABASE_URL is not empty, and this would write to it.")
    call_command("migrate", verbosity=0)


def _elsewhere(arguments: list[str]) -> int:
    with tempfile.TemporaryDirectory(prefix="drill-") as folder:
        environment = os.environ | {
            "DJANGO_SETTINGS_MODULE": SETTINGS,
            "DJANGO_SECRET_KEY": secrets.token_urlsafe(50),
            "SNECK_VAR": folder,
            "REDIS_URL": f"unix://{folder}/redis.sock",
            "SNECK_SMTP_HOST": "127.0.0.1",
            "SNECK_SMTP_PORT": str(free_port()),
            "SNECK_SMTP_SECURITY": "none",
            "SNECK_SMTP_USER": "",
        }
        environment.pop("SNECK_DEMO", None)
        argv = [sys.executable, sys.argv[0], *arguments]
        return subprocess.run(argv, env=environment, check=False).returncode  # noqa: S603 - ourselves
