"""What most tests of pages begin with: an agent of an agency, signed in."""

import pytest
from django.test import Client

from portfolio.models import User
from tests.factories import make_agency, make_user, signed_in


@pytest.fixture
def agent() -> User:
    return make_user(make_agency())


@pytest.fixture
def as_agent(agent: User) -> Client:
    """A browser in which the agent has logged in."""
    return signed_in(agent)
