"""The first log-in of an agency, and the next ones."""

import io
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from portfolio.models import Agency, Landlord, User
from tests.factories import make_agency, make_user

pytestmark = pytest.mark.django_db
GOOD = "a-latch-that-lifts"


@pytest.fixture
def add(monkeypatch: pytest.MonkeyPatch) -> Any:
    def run(email: str = "ash@example.org", password: str = GOOD, **options: Any) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
        call_command(
            "add_user", email, **{"name": "Ash Elm", "role": "agent", "agency": "Elm Lets"} | options
        )

    return run


def test_the_first_user_begins_the_agency_and_can_sign_in(add: Any) -> None:
    add(new_agency=True)
    user = User.objects.get(email="ash@example.org")
    assert user.agency.name == "Elm Lets"
    assert user.check_password(GOOD)


def test_an_agency_that_is_not_there_is_named_and_nothing_is_made(add: Any) -> None:
    make_agency()
    with pytest.raises(CommandError, match="Begin one with --new-agency"):
        add()
    assert not User.objects.exists()


def test_an_agency_is_not_begun_twice(add: Any) -> None:
    add(new_agency=True)
    with pytest.raises(CommandError, match="already"):
        add(email="oak@example.org", new_agency=True)
    assert Agency.objects.count() == 1


@pytest.mark.parametrize("password", ["", "short", "password1234", "ash@example.org"])
def test_a_weak_password_makes_nothing_at_all(add: Any, password: str) -> None:
    with pytest.raises(CommandError):
        add(password=password, new_agency=True)
    assert not User.objects.exists()
    assert not Agency.objects.exists()


def test_a_landlords_log_in_says_whose_homes(add: Any) -> None:
    add(new_agency=True)
    Landlord.objects.create(agency=Agency.objects.get(), ref="L1", name="Oak Rowan")
    with pytest.raises(CommandError, match="names its landlord"):
        add(email="oak@example.org", role="landlord")
    with pytest.raises(CommandError, match="no landlord with the ref L2"):
        add(email="oak@example.org", role="landlord", landlord="L2")
    add(email="oak@example.org", role="landlord", landlord="L1")
    assert User.objects.get(email="oak@example.org").landlord == Landlord.objects.get(ref="L1")


def test_an_address_is_used_once(add: Any) -> None:
    add(new_agency=True)
    with pytest.raises(CommandError, match="already exists"):
        add()


def test_the_history_of_a_log_in_holds_no_password():
    user = make_user(make_agency())
    user.set_password("another-invented-phrase")
    user.save()
    assert user.history.count() == 2
    assert "password" not in {field.name for field in user.history.model._meta.fields}
