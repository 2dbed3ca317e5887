"""The page of a person's calendar in a real browser: nothing for axe to find, and it works without scripts."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.browser.test_axe import PHONE, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import make_agency, make_home, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agent():
    agent = make_user(make_agency("Latchford Lettings"))
    make_home(agent.agency, agent)
    return agent


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_address_is_made_copied_and_ended(open_page, live_server, agent, scheme):  # noqa: F811
    page = open_page(PHONE, scheme, agent)
    page.goto(live_server.url + reverse("calendar"))
    page.get_by_role("link", name="Have it in your own calendar").click()
    found = check(page, "no address", scheme)
    page.set_viewport_size({"width": PHONE, "height": 900})
    page.get_by_role("button", name="Make an address").click()
    address = page.get_by_label("Address of your calendar").input_value()
    found += check(page, "a new address", scheme)
    page.set_viewport_size({"width": PHONE, "height": 900})
    path = address.removeprefix("http://localhost:8000")
    assert Client().get(path).content.startswith(b"BEGIN:VCALENDAR")
    page.goto(live_server.url + reverse("feed"))
    assert path not in page.content()
    found += check(page, "an address", scheme)
    page.set_viewport_size({"width": PHONE, "height": 900})
    page.get_by_role("button", name="End this address").click()
    page.get_by_text("The address is ended.").wait_for()
    assert Client().get(path).status_code == 404
    assert found == []
