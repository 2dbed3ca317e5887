"""The browser speaks plain HTTP to a server that starts before the settings of any one test do."""

from collections.abc import Iterator

import pytest
from django.test import override_settings


@pytest.fixture(scope="session", autouse=True)
def _plain_http() -> Iterator[None]:
    with override_settings(SECURE_SSL_REDIRECT=False):
        yield
