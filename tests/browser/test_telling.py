"""How people are told, in a real browser: nothing for axe to find, nothing runs off a phone, and the forms work."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from notifications import leads, telling, unsubscribe
from notifications.models import LifeSign, RefusedAddress
from tests.browser.test_axe import PHONE, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import at, make_agency, make_home, make_user
from tests.notifications.drafts import put
from tests.notifications.test_not_told import chosen, everybody
from tests.notifications.test_views import FAILED, change

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agent():
    agent = make_user(make_agency("Latchford Lettings"), name="Ann Agent", email="ann@example.org")
    everybody(agent)
    make_user(agent.agency, "landlord", landlord=make_home(agent.agency, agent, label="Flat 7").landlord)
    LifeSign.objects.create(part="beat", at=at().at - timedelta(minutes=20))
    LifeSign.objects.create(part="mail_trouble", at=at().at, says="The mail server cannot be reached.")
    change(put(agent.agency, to_user_id=agent.pk, to_email=agent.email), **FAILED)
    change(put(agent.agency), next_try_at=at().at - timedelta(hours=3))
    return agent


def pages(agent: Any) -> dict[str, str]:
    home = agent.agency.units.get()
    return {
        "how you are told": reverse("telling"),
        "lead times": reverse("lead_times"),
        "who is not told": reverse("not_told"),
        "who is told about a home": f"{reverse('not_told')}?home={home.pk}",
        "nobody": f"{reverse('not_told')}?q=nobody",
        "the works": reverse("works"),
        "messages": reverse("messages"),
        "stop the digest": reverse("unsubscribe", args=[unsubscribe.address(agent.pk).split("/")[-2]]),
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_about_telling_are_fit_for_everybody(open_page, live_server, agent, scheme):  # noqa: F811
    page = open_page(PHONE, scheme, agent)
    chosen(agent, quiet_days=[2], off=["duty"])
    found = []
    for name, address in pages(agent).items():
        page.set_viewport_size({"width": PHONE, "height": 900})
        page.goto(live_server.url + address)
        found += check(page, name, scheme)
    assert found == []


def test_somebody_chooses_how_to_be_told(open_page, live_server, agent):  # noqa: F811
    page = open_page(PHONE, "light", agent)
    page.goto(live_server.url + reverse("homes"))
    page.get_by_role("link", name="How you are told").click()
    page.get_by_label("From which hour").select_option("17:00")
    page.get_by_label("Sunday").check()
    page.get_by_label("Duties").uncheck()
    page.get_by_role("button", name="Keep this").click()
    page.get_by_text("Kept. It holds from the next message on.").wait_for()
    kept = telling.of(agent)
    assert (kept.hour, kept.quiet_days, kept.off) == (17, [6], ["duty"])
    assert page.get_by_label("Sunday").is_checked()
    assert not page.get_by_label("Duties").is_checked()


def test_an_agent_sets_lead_times_and_puts_right_what_is_wrong(open_page, live_server, agent):  # noqa: F811
    page = open_page(PHONE, "light", agent)
    page.goto(live_server.url + reverse("lead_times"))
    page.get_by_label("Gas safety record").fill("a month")
    page.get_by_role("button", name="Keep these").click()
    page.get_by_role("link", name="Gas safety record").click()
    page.get_by_label("Gas safety record").fill("30, 3")
    page.get_by_role("button", name="Keep these").click()
    page.get_by_text("Kept. It holds from the next digest on.").wait_for()
    assert leads.own_of(agent.agency_id) == {"gas_safety_record": (30, 3)}


def test_a_refused_address_is_tried_again_by_a_button(open_page, live_server, agent):  # noqa: F811
    page = open_page(PHONE, "light", agent)
    page.goto(live_server.url + reverse("messages"))
    page.get_by_role("link", name="Who is not told, and why").click()
    page.get_by_role("button", name=re.compile("Try it again.*corner@")).click()
    page.get_by_text("corner@example.org is written to again.").wait_for()
    assert RefusedAddress.objects.filter(ended_at=None).count() == 1


def test_the_digest_is_stopped_by_the_address_in_it_without_a_log_in(open_page, live_server, agent):  # noqa: F811
    page = open_page(PHONE, "light")
    page.goto(live_server.url + pages(agent)["stop the digest"])
    page.get_by_role("button", name="Stop the digest").click()
    page.get_by_role("heading", name="You get no more digests").wait_for()
    assert not telling.of(agent).digest
