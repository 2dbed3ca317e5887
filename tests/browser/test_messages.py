"""The messages in a real browser: nothing for axe to find, nothing runs off a phone, and its buttons work."""

import pytest
from django.urls import reverse

from notifications.models import Message
from tests.browser.test_axe import PHONE, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import make_agency, make_home, make_user
from tests.notifications.drafts import put
from tests.notifications.test_views import FAILED, SENT, change

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agent():
    agent = make_user(make_agency("Latchford Lettings"))
    home = make_home(agent.agency, agent)
    waiting = put(agent.agency, unit_id=home.pk, urgent=True, subject="Do not use the socket by the sink")
    change(put(agent.agency), **SENT)
    change(put(agent.agency), **FAILED)
    change(put(agent.agency), state="unclear", lost=1)
    change(put(agent.agency), state="withdrawn", next_try_at=None, withdrawn_why="Job 3 was closed.")
    assert waiting.urgent
    return agent


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_of_messages_are_fit_for_everybody(open_page, live_server, agent, scheme):  # noqa: F811
    page = open_page(PHONE, scheme, agent)
    urgent, failed = Message.objects.get(urgent=True), Message.objects.get(state="failed")
    addresses = {
        "messages": reverse("messages"),
        "none": reverse("messages") + "?q=nothing",
        "a waiting message": reverse("message", args=[urgent.pk]),
        "a refused message": reverse("message", args=[failed.pk]),
    }
    found = []
    for name, address in addresses.items():
        page.set_viewport_size({"width": PHONE, "height": 900})
        page.goto(live_server.url + address)
        found += check(page, name, scheme)
    assert found == []


def test_an_agent_holds_a_message_back_and_releases_it(open_page, live_server, agent):  # noqa: F811
    page = open_page(PHONE, "light", agent)
    page.goto(live_server.url + reverse("messages"))
    page.get_by_role("link", name="Do not use the socket by the sink").click()
    page.get_by_role("button", name="Hold it back").click()
    page.get_by_text("It is held back until you release it.").wait_for()
    page.get_by_role("button", name="Release it").click()
    page.get_by_text("It goes on its way.").wait_for()
    assert Message.objects.get(urgent=True).state == "waiting"
