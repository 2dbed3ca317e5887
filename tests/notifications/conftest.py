"""A mail server that is ours alone, and settings that do not make tests wait."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest

from portfolio.clock import Moment, moment_of
from tests.factories import at
from tests.notifications import post_office
from tests.notifications.post_office import Office


@pytest.fixture
def office(settings: Any) -> Iterator[Office]:
    with post_office.opened() as office:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", office.port
        settings.EMAIL_TIMEOUT = settings.SMTP_LAST_ANSWER_SECONDS = 1
        office.hang_seconds = 1.5
        yield office


@pytest.fixture
def patient(settings: Any, office: Office) -> None:
    """Whoever waits for the mail server waits long: with several at once, a machine may be slow to answer."""
    settings.EMAIL_TIMEOUT = settings.SMTP_LAST_ANSWER_SECONDS = 60


class Hands:
    """The hands of a clock that only a test moves."""

    def __init__(self) -> None:
        self.at = at().at

    def __call__(self) -> Moment:
        return moment_of(self.at)

    def on(self, **time: float) -> None:
        self.at += timedelta(**time)


@pytest.fixture
def now() -> Hands:
    return Hands()
