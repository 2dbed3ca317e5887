"""What our commands share: reading a portfolio file, and refusing with every fault, one a line."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.management import BaseCommand

from portfolio.access import may
from portfolio.exchange import portfolio1
from portfolio.exchange.faults import Fault, Faults
from portfolio.exchange.kinds import shown
from portfolio.law import model as law
from portfolio.models import Agency, User

REFUSED = 2
"""Exit status of a command that was handed something wrong."""


@contextmanager
def faults_to_stderr(command: BaseCommand) -> Iterator[None]:
    try:
        yield
    except Faults as error:
        for fault in error.faults:
            command.stderr.write(str(fault))
        raise SystemExit(REFUSED) from error


def read_portfolio(path: str) -> law.Portfolio:
    """The portfolio in a file, or from standard input when the path is `-`. Raises `Faults`."""
    try:
        content = sys.stdin.buffer.read() if path == "-" else Path(path).read_bytes()
    except OSError as error:
        wrong = f"the file cannot be read ({error.strerror or error})"
        raise Faults([Fault(path, wrong, "check its name and whether you may read it")]) from error
    return portfolio1.read(content)


def agency_named(name: str) -> Agency:
    """The one agency of that name. Raises `Faults`."""
    found = list(Agency.objects.filter(name=name)[:2])
    if len(found) == 1:
        return found[0]
    wrong = f"two agencies are called {shown(name)}" if found else f"no agency is called {shown(name)}"
    cure = "give them names that differ" if found else _names()
    raise Faults([Fault("--agency", wrong, cure)])


def _names() -> str:
    names = [shown(name) for name in Agency.objects.order_by("name").values_list("name", flat=True)]
    return f"write one of: {', '.join(names)}" if names else "add the agency first"


def importer(email: str, agency: Agency) -> User:
    """The person of that agency with this e-mail address, if they may import. Raises `Faults`."""
    user = User.objects.filter(email=email.lower(), agency=agency).first()
    if user is None or not user.is_active:
        wrong = f"nobody at {agency} logs in as {shown(email)}"
        raise Faults([Fault("--as", wrong, "write the e-mail address of somebody who works there")])
    if not may(user, "import"):
        raise Faults([Fault("--as", f"{user} may not import homes", "name one of the agents")])
    return user
