"""The menu: one line on a phone, opened without scripts; plain links where there is room; not on paper."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests.browser.test_axe import PHONE, PRESSED, SMALL, TARGET, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import make_agency, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agent(db):
    return make_user(make_agency("Latchford Lettings"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_phone_shows_one_line_that_the_keyboard_opens(open_page, live_server, agent, scheme):  # noqa: F811
    page = open_page(PHONE, scheme, agent)
    page.goto(live_server.url + reverse("duties"))
    menu, links = page.get_by_text("Menu", exact=True), page.locator("nav[aria-label=Main] a")
    assert menu.bounding_box()["height"] >= TARGET
    assert page.locator("nav[aria-label=Main]").bounding_box()["height"] < 2 * TARGET
    assert not any(link.is_visible() for link in links.all())
    assert check(page, "the menu, folded", scheme) == []
    page.set_viewport_size({"width": PHONE, "height": 780})
    page.keyboard.press("Tab")  # to the page
    page.keyboard.press("Tab")  # the name
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Menu"
    page.keyboard.press("Enter")
    assert all(link.is_visible() for link in links.all())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Homes"
    assert page.evaluate(SMALL, [PRESSED, TARGET]) == []
    assert check(page, "the menu, open", scheme) == []
    page.set_viewport_size({"width": PHONE, "height": 780})
    page.get_by_role("link", name="Jobs", exact=True).click()
    page.get_by_role("heading", name="Jobs", level=1).wait_for()


def test_a_wide_screen_shows_plain_links_and_paper_none(open_page, live_server, agent):  # noqa: F811
    page = open_page(1280, "light", agent)
    page.goto(live_server.url + reverse("homes"))
    menu, links = page.get_by_text("Menu", exact=True), page.locator("nav[aria-label=Main] a")
    assert not menu.is_visible()
    seen = "one => one.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})"
    assert all(link.evaluate(seen) for link in links.all())
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Homes"
    assert check(page, "the menu, wide", "light") == []
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("link", name="Jobs", exact=True).click()
    page.get_by_role("heading", name="Jobs", level=1).wait_for()
    page.emulate_media(media="print")
    expect(page.locator("nav[aria-label=Main]")).to_be_hidden()
