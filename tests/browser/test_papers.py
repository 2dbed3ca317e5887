"""Papers sent and a contractor asked, in a real browser: nothing for axe to find, nothing runs off a phone."""

import pytest
from django.urls import reverse

from notifications.models import Message
from tests.browser.test_axe import PHONE, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import make_agency, make_user
from tests.notifications.papers.cases import make_gas_firm, paper, rented, with_file

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


@pytest.fixture
def home(agent):
    home = rented(agent.agency)
    with_file(paper(home, "g2"))
    make_gas_firm(agent.agency)
    make_gas_firm(agent.agency, "Lapsed Flame", until=None)
    return home


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_copy_is_sent_from_a_duty_and_a_contractor_asked(open_page, live_server, agent, home, scheme):  # noqa: F811
    page, found = open_page(PHONE, scheme, agent), []

    def look(name: str) -> None:
        found.extend(check(page, name, scheme))
        page.set_viewport_size({"width": PHONE, "height": 900})

    page.set_viewport_size({"width": PHONE, "height": 900})
    page.goto(live_server.url + reverse("duties"))
    page.get_by_role("link", name="Send a copy").click()
    page.get_by_label("Name of the reader").fill("Pat Tenant")
    page.get_by_label("E-mail address").fill("pat@example.org")
    look("to a tenant")
    page.get_by_label("The reader agreed").check()
    page.get_by_role("button", name="Look at the mail").click()
    look("the mail")
    page.get_by_role("button", name="Send it").click()
    page.get_by_text("On its way to Pat Tenant").wait_for()
    assert Message.objects.get().data["acts"] == [["copy_given", "g2"]]
    page.goto(live_server.url + reverse("papers_send", args=[home.pk]) + "?party=council")
    look("to a council")
    page.goto(live_server.url + reverse("renewal_ask", args=[home.pk]))
    look("what to renew")
    page.get_by_role("link", name="gas safety check").click()
    look("whom to ask")
    page.get_by_label("Blue Flame").check()
    page.get_by_role("button", name="Ask", exact=True).click()
    page.get_by_text("Blue Flame is asked.").wait_for()
    assert found == []
