"""Every page in a real browser: nothing for axe to find, light and dark, and nothing runs off a narrow screen."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer

from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Unit, User
from portfolio.services import policies, sheet_import
from tests.factories import CLEAR_FLAT, at, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OPTIONS = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "preload": False,  # it would copy the style sheets into the page, which the page's own policy forbids
}
NARROWEST = 320
"""CSS pixels: a screen of 1280 at 400 % zoom."""
PHONE = 360
TARGET = 44


@dataclass(frozen=True)
class Town:
    """Homes in the states that the pages draw differently."""

    agent: User
    inspector: User
    clear: Unit
    barred: Unit
    unknown: Unit
    sheet: int


@pytest.fixture
def town() -> Town:
    agency = make_agency("Latchford Lettings")
    agent = make_user(agency)
    defects = (
        law.Defect("d1", "bs7671", "C1", "Bare wires", date(2026, 11, 20)),
        law.Defect("d2", "bs7671", "C2", "Cracked socket", date(2026, 11, 20), completed=date(2026, 11, 22)),
        law.Defect("d3", "bs7671", "C3", "Old board", date(2026, 1, 2), confirmed=date(2026, 2, 2)),
    )
    clear = make_home(
        agency, agent, label="Flat 1", tenancies=(law.Tenancy("t", date(2026, 1, 1), date(2026, 1, 2)),)
    )
    gate.mark(clear.pk, "let", actor=agent, moment=at())
    papers = without(CLEAR_FLAT, "e1").certificates
    sheet = sheet_import.upload(
        SimpleUploadedFile("list.csv", b"Property ref,EICR date\nflat-1,99/99/2026\n"),
        actor=agent,
        moment=at(),
    )
    sheet_import.read_in(sheet.pk, moment=at())
    policy = policies.policy_ask(agency, {"gas_margin_days": 30}, why="Asked.", actor=agent, moment=at())
    policies.policy_apply(policy.pk, moment=at())
    policies.policy_ask(agency, {"gas_margin_days": 60}, why="Asked.", actor=agent, moment=at())
    return Town(
        agent=agent,
        inspector=make_user(agency, "inspector"),
        clear=clear,
        barred=make_home(agency, agent, label="Flat 2", certificates=papers, defects=defects),
        unknown=make_home(
            agency,
            agent,
            label=None,
            rooms=None,
            appliances=None,
            alarms=None,
            certificates=None,
            defects=None,
        ),
        sheet=sheet.pk,
    )


Visit = Callable[[Page, str, Town], None]


def at_url(name: str, home: str = "", query: str = "") -> Visit:
    def visit(page: Page, site: str, town: Town) -> None:
        page.goto(site + reverse(name, args=[getattr(town, home).pk] if home else []) + query)

    return visit


def of_the_sheet(page: Page, site: str, town: Town) -> None:
    page.goto(site + reverse("sheet_import", args=[town.sheet]))


def landlord(page: Page, site: str, town: Town) -> None:
    page.goto(site + reverse("landlord_change", args=[town.clear.landlord_id]))


def absent(page: Page, site: str, town: Town) -> None:
    page.goto(site + reverse("home", args=[987654]))


def refused(page: Page, site: str, town: Town) -> None:
    """The button of a page that was loaded before the bar came up."""
    page.goto(site + reverse("home", args=[town.clear.pk]))
    form = page.locator("form", has=page.locator("input[name=purpose]")).last
    form.evaluate("(form, url) => form.setAttribute('action', url)", reverse("mark", args=[town.barred.pk]))
    form.evaluate("form => form.submit()")
    page.get_by_role("heading", name="Refused").wait_for()


def checked(page: Page, site: str, town: Town) -> None:
    at_url("certificate_add", "barred", "?kind=gas_safety_record")(page, site, town)
    page.get_by_label("Day of inspection").fill("2026-11-20")
    page.get_by_label("Safe").first.check()
    page.get_by_role("button", name="Check").click()
    page.get_by_role("button", name="Save").wait_for()


def faulty(page: Page, site: str, town: Town) -> None:
    at_url("certificate_add", "barred", "?kind=eicr")(page, site, town)
    page.locator("main form").evaluate("form => { form.noValidate = true }")
    page.get_by_role("button", name="Check").click()
    page.get_by_role("alert").wait_for()


def policy_checked(page: Page, site: str, town: Town) -> None:
    at_url("policy_change")(page, site, town)
    page.get_by_label("Worst energy band").select_option("B")
    page.get_by_label("Why is it changed?").fill("The insurer asks for it.")
    page.get_by_role("button", name="Check").click()
    page.get_by_role("button", name="Save").wait_for()


def law_of_a_nation(page: Page, site: str, town: Town) -> None:
    page.goto(site + reverse("law_nation", args=["england"]) + "?on=2026-10-05")


def a_month(page: Page, site: str, query: str) -> None:
    page.goto(site + reverse("calendar_month", args=["2027-05"]) + query)


PAGES: dict[str, Visit] = {
    "homes": at_url("homes"),
    "homes, narrowed, on another day": at_url("homes", query="?on=2027-05-21&answer=not-let&sort=-let"),
    "homes, a fault": at_url("homes", query="?on=never"),
    "homes, none": at_url("homes", query="?q=nowhere"),
    "a clear home": at_url("home", "clear"),
    "a barred home": at_url("home", "barred"),
    "a home of which little is known": at_url("home", "unknown"),
    "a home on another day": at_url("home", "clear", "?on=2027-05-21"),
    "a home as it was known": at_url("home", "barred", "?known=2026-11-25&on=2027-05-21"),
    "a home not known yet": at_url("home", "barred", "?known=2026-11-24"),
    "a home, a fault": at_url("home", "clear", "?known=2026-11-26"),
    "record": at_url("home_events", "clear"),
    "facts": at_url("home_facts", "clear"),
    "facts, little known": at_url("home_facts", "unknown"),
    "kinds of certificate": at_url("certificate_add", "clear"),
    "a certificate": at_url("certificate_add", "clear", "?kind=gas_safety_record"),
    "a certificate, faulty": faulty,
    "a certificate, checked": checked,
    "defects": at_url("defects", "barred"),
    "defects, not known": at_url("defects", "unknown"),
    "a new defect": at_url("defect_add", "barred"),
    "a tenancy": at_url("tenancy_add", "clear"),
    "an act": at_url("act_add", "clear"),
    "refused": refused,
    "how a landlord is reached": landlord,
    "imports": at_url("sheet_import_list"),
    "an import": of_the_sheet,
    "house policy": at_url("policy"),
    "house policy, to be changed": at_url("policy_change"),
    "house policy, checked": policy_checked,
    "duties": at_url("duties"),
    "duties, narrowed, on another day": at_url("duties", query="?on=2027-05-21&when=late&party=tenant"),
    "calendar": at_url("calendar"),
    "calendar, from another day": at_url("calendar", query="?on=2027-01-31"),
    "a month": lambda page, site, town: a_month(page, site, "?what=let"),
    "a month, lapses": lambda page, site, town: a_month(page, site, "?kind=gb_gas_check"),
    "what if": at_url("what_if"),
    "what if, asked": at_url("what_if", query="?assume=band_c_2030"),
    "what if, a fault": at_url("what_if", query="?assume=x&on=never"),
    "law": at_url("law"),
    "law of a nation": law_of_a_nation,
    "own log-in": at_url("mfa_index"),
    "password": at_url("account_change_password"),
    "absent": absent,
}
IN_THE_DARK = ("homes, narrowed, on another day", "a barred home", "a clear home", "facts, little known",
               "a certificate, faulty", "a certificate, checked", "defects", "an import")  # fmt: skip
"""Between them they use every colour."""
BEFORE_LOG_IN = ("account_login", "account_reset_password", "account_reset_password_done", "account_signup")


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=True)


@pytest.fixture
def open_page(chromium: Browser, live_server: LiveServer) -> Iterator[Callable[..., Page]]:
    """Opens a page in a window of its own; what the browser complains of in its console fails the test."""
    complaints: list[str] = []
    contexts = []

    def opened(width: int, scheme: str, user: User | None = None) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)  # type: ignore[arg-type]
        contexts.append(context)
        if user is not None:
            client = Client()
            client.force_login(user)
            cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
            )
        page = context.new_page()
        page.on(
            "console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def check(page: Page, name: str, scheme: str) -> list[str]:
    """What axe finds, and what runs off the narrowest screen."""
    page.wait_for_load_state("load")  # after a click the page may be there before its style sheet is
    found = [
        f"{name}, {scheme}: {v['id']}: {v['nodes'][0]['html'][:160]}"
        for v in Axe().run(page, options=OPTIONS).response["violations"]
    ]
    page.set_viewport_size({"width": NARROWEST, "height": 640})
    wide = page.evaluate("document.documentElement.scrollWidth")
    return found + ([f"{name}: {wide} px wide on a screen of {NARROWEST}"] if wide > NARROWEST else [])


@pytest.mark.parametrize(("scheme", "names"), [("light", tuple(PAGES)), ("dark", IN_THE_DARK)])
def test_axe_finds_nothing_and_nothing_runs_off_a_narrow_screen(open_page, live_server, town, scheme, names):
    page = open_page(1280, scheme, town.agent)
    found = []
    for name in names:
        page.set_viewport_size({"width": 1280, "height": 900})
        PAGES[name](page, live_server.url, town)
        found += check(page, name, scheme)
    assert found == []


def test_axe_finds_nothing_before_the_log_in(open_page, live_server, db):
    page = open_page(PHONE, "light")
    found = []
    for name in BEFORE_LOG_IN:
        page.goto(live_server.url + reverse(name))
        found += check(page, name, "light")
    assert found == []


def test_axe_finds_nothing_on_a_phone(open_page, live_server, town):
    page = open_page(PHONE, "light", town.agent)
    found = []
    for name in ("homes", "a barred home", "facts", "a certificate, checked", "defects"):
        page.set_viewport_size({"width": PHONE, "height": 780})
        PAGES[name](page, live_server.url, town)
        found += check(page, name, "phone")
    assert found == []


def test_axe_can_find_something(open_page, live_server, town):
    page = open_page(1280, "light", town.agent)
    PAGES["homes"](page, live_server.url, town)
    page.locator("h1").evaluate("h1 => h1.insertAdjacentHTML('afterend', '<img src=\"/none.png\"><input>')")
    found = " ".join(check(page, "homes", "light"))
    assert "image-alt" in found
    assert "label" in found


PRESSED = ", ".join(
    [
        ".button",
        "select",
        "input:not([type=hidden], [type=radio], [type=checkbox])",
        ".choices label",
        ".choice",
    ]
    + ["summary", "nav a"]
)
SMALL = """([pressed, least]) => [...document.querySelectorAll(pressed)]
  .filter(one => one.offsetParent && one.getBoundingClientRect().height < least - .5)
  .map(one => one.outerHTML.slice(0, 120))"""


def test_paper_shows_what_the_screen_folds_away(open_page, live_server, town):
    page = open_page(1280, "light", town.agent)
    PAGES["a clear home"](page, live_server.url, town)
    folded = page.locator("#asked details li").first
    seen = "one => one.checkVisibility({contentVisibilityAuto: true})"
    assert folded.evaluate(seen) is False
    page.emulate_media(media="print")
    assert folded.evaluate(seen) is True


def test_everything_to_press_is_big_enough_for_a_thumb(open_page, live_server, town):
    page = open_page(PHONE, "light", town.agent)
    for name in ("homes", "a clear home", "facts", "a certificate", "defects", "a new defect"):
        PAGES[name](page, live_server.url, town)
        assert page.evaluate(SMALL, [PRESSED, TARGET]) == [], name


def test_the_keyboard_reaches_the_page_first(open_page, live_server, town):
    page = open_page(1280, "light", town.agent)
    PAGES["homes"](page, live_server.url, town)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_the_board_is_narrowed_without_loading_the_page_again(open_page, live_server, town):
    page = open_page(1280, "light", town.agent)
    PAGES["homes"](page, live_server.url, town)
    page.evaluate("window.stays = true")
    page.locator("main details summary").first.click()
    page.get_by_label("Answer", exact=True).select_option("not-let")
    page.wait_for_url("**answer=not-let**")
    page.get_by_text("2 of 3").wait_for()
    assert page.evaluate("window.stays") is True


def test_the_board_is_narrowed_without_scripts_too(chromium, live_server, town):
    client = Client()
    client.force_login(town.agent)
    context = chromium.new_context(java_script_enabled=False)
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("homes"))
    page.locator("main details summary").first.click()
    page.get_by_label("Answer", exact=True).select_option("not-let")
    page.get_by_role("button", name="Show").click()
    assert page.get_by_text("2 of 3").is_visible()
    context.close()
