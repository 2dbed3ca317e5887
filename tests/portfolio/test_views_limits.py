"""Pages for anybody are dear to make, so one address gets so many a minute; whoever is signed in gets on with it."""

import os
import subprocess
import sys
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from portfolio.views import limits
from tests.factories import at, make_agency, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(autouse=True)
def _two_a_minute(monkeypatch):
    monkeypatch.setattr(limits, "MOST_A_MINUTE", 2)


def ask(client=None, address="192.0.2.1", name="law", args=()):
    return (client or Client()).get(reverse(name, args=args), REMOTE_ADDR=address)


def test_one_address_gets_so_many_pages_a_minute_and_then_is_told_to_wait(time_machine):
    assert ask().status_code == 200
    assert ask(name="law_nation", args=["wales"]).status_code == 200
    refused = ask()
    assert (refused.status_code, refused["Retry-After"]) == (429, "60")
    assert "tried too often" in refused.content.decode()
    time_machine.move_to(at().at + timedelta(seconds=60), tick=False)
    assert ask().status_code == 200


def test_another_address_and_whoever_is_signed_in_are_not_held_up():
    codes = [ask().status_code for _ in range(3)]
    assert codes == [200, 200, 429]
    assert ask(address="192.0.2.2").status_code == 200
    client = signed_in(make_user(make_agency()))
    assert {ask(client).status_code for _ in range(4)} == {200}


def test_behind_a_proxy_readers_are_told_apart(settings):
    """What a reader claims of itself stands before what the proxy adds, and is not looked at."""
    told = subprocess.run(
        [sys.executable, "-c", "from portfolio import settings; print(settings.ALLAUTH_TRUSTED_PROXY_COUNT)"],
        env=os.environ | {"SNECK_BEHIND_PROXY": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = int(told.stdout)

    def from_reader(said: str) -> int:
        return Client().get(reverse("law"), headers={"X-Forwarded-For": said}).status_code

    assert [from_reader(f"198.51.100.{n}, 192.0.2.1") for n in range(3)] == [200, 200, 429]
    assert from_reader("192.0.2.1, 192.0.2.2") == 200
