"""The main job from end to end, as a person does it: the real site with its worker and broker, in Chromium.

An agent signs in, imports the old list, sees why a home cannot be let, adds the missing paper, marks the home,
records a C2 and sees the mark withdrawn; an inspector confirms the repair. Once on a wide screen with scripts,
once on a phone's with scripts off.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from portfolio import clock
from portfolio.demo import scenario
from portfolio.demo.papers import scan
from tests.portfolio.demo.test_demo import Demo

pytestmark = [pytest.mark.browser, pytest.mark.slow]
LISTS = ("marrowby-lettings-list.xlsx", "marrowby-lettings-list.csv")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    demo = Demo(tmp_path_factory.mktemp("story"))
    yield demo
    demo.process.terminate()
    demo.process.wait()


def sign_in(page: Page, site: Demo, role: str) -> None:
    email, password = next((email, word) for who, email, word in scenario.logins() if who == role)
    page.goto(f"http://localhost:{site.port}/")
    page.fill("[name=login]", email)
    page.fill("[name=password]", password)
    page.get_by_role("button", name=re.compile("(Log|Sign) in")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Homes")


def until_shown(page: Page, words: str) -> None:
    """Reload until the worker has done its part, as the page itself does with scripts off."""
    for _ in range(60):
        if page.get_by_text(words).count():
            return
        page.wait_for_timeout(500)
        page.goto(page.url)
    raise AssertionError(f"'{words}' never came; the page says: {page.inner_text('main')[:500]}")


def import_list(page: Page, site: Demo, name: str) -> None:
    menu = page.get_by_text("Menu", exact=True)
    if menu.is_visible():
        menu.click()
    page.get_by_role("link", name="Import a list").first.click()
    page.set_input_files("input[type=file]", site.folder / "demo" / name)
    page.get_by_role("button", name="Read it").click()
    until_shown(page, "Waiting for you")


def find(page: Page, site: Demo, ref: str) -> None:
    page.goto(f"http://localhost:{site.port}/?q={ref}")
    page.locator("main table a[href^='/homes/']").first.click()


@dataclass(frozen=True)
class Missing:
    """A home of the list that lacks one paper only."""

    ref: str
    says: str
    kind: str
    answer: str
    """The field that says the paper is good, as a selector of its choice."""


GAS = Missing("LG-2", "no gas check on record", "gas_safety_record", "[name=appliance_0][value=safe]")
EICR = Missing("LG-3", "no electrical report", "eicr", "[name=outcome][value=satisfactory]")


def add_paper(page: Page, missing: Missing, day: date, folder: Path) -> None:
    paper = folder / "paper.pdf"
    paper.write_bytes(scan("The paper", ["INVENTED"], paper.name).read())
    page.get_by_role("link", name="Add a certificate").first.click()
    page.select_option("[name=kind]", missing.kind)
    page.get_by_role("button", name="Go on").click()
    page.fill("[name=inspected]", day.isoformat())
    choose(page, missing.answer)
    page.set_input_files("[name=upload]", paper)
    page.get_by_role("button", name="Check what it would change").click()


def choose(page: Page, answer: str) -> None:
    """A choice may be a round button or a line in a list."""
    if page.locator(answer).count():
        page.check(answer)
    else:
        name, value = re.findall(r"\[\w+=(\w+)\]", answer)
        page.select_option(f"select[name={name}]", value)


@pytest.mark.parametrize(
    ("missing", "list_name", "width", "scripts"),
    [(GAS, LISTS[0], 1280, True), (EICR, LISTS[1], 360, False)],
)
def test_from_the_old_list_to_a_mark_and_back(
    site: Demo, chromium: Browser, tmp_path: Path, missing: Missing, list_name: str, width: int, scripts: bool
) -> None:
    today = clock.today()
    context = chromium.new_context(viewport={"width": width, "height": 800}, java_script_enabled=scripts)
    page = context.new_page()
    sign_in(page, site, "agent")

    import_list(page, site, list_name)
    expect(page.locator("main")).to_contain_text("holds a formula")
    take = page.get_by_role("button", name=re.compile("Take the"))
    if take.count():  # a list that holds nothing new has no such button
        take.click()
        until_shown(page, "Taken in: 1")

    find(page, site, missing.ref)
    expect(page.locator("main")).to_contain_text("Cannot be let today")
    expect(page.locator("main")).to_contain_text(missing.says)
    expect(page.get_by_role("button", name="Mark to let")).to_have_count(0)

    add_paper(page, missing, today - timedelta(days=3), tmp_path)
    expect(page.locator("main")).to_contain_text("Can be let")
    page.get_by_role("button", name=re.compile("Save")).click()
    expect(page.locator("main")).to_contain_text("Can be let today")

    page.get_by_role("button", name="Mark to let").click()
    expect(page.locator("main")).to_contain_text("Marked to let")

    page.get_by_role("link", name="Record a defect").first.click()
    page.fill("[name=title]", "Socket loose, live parts within reach")
    page.select_option("[name=code]", "bs7671:C2")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator("main")).to_contain_text("Socket loose")

    find(page, site, missing.ref)
    expect(page.locator("main")).to_contain_text("Cannot be let today")
    expect(page.locator("main")).to_contain_text("withdrawn by itself")
    assert page.get_by_text("Marked to let on").count() == 0
    context.close()


def test_an_inspector_confirms_what_an_agent_claims(site: Demo, chromium: Browser) -> None:
    context = chromium.new_context(viewport={"width": 360, "height": 800})
    page = context.new_page()
    sign_in(page, site, "agent")
    find(page, site, "PL-10")
    page.get_by_role("link", name=re.compile("All defects")).first.click()
    page.locator("article.defect a").first.click()
    page.get_by_text("The work is done", exact=True).click()
    page.select_option("[name=done-work]", "small_electrical")
    page.get_by_role("button", name="Say that it is done").click()
    expect(page.locator("main")).to_contain_text("said to be done")
    context.close()

    context = chromium.new_context(viewport={"width": 360, "height": 800})
    page = context.new_page()
    sign_in(page, site, "inspector")
    find(page, site, "PL-10")
    expect(page.locator("main")).to_contain_text("Cannot be let today")
    page.get_by_role("link", name=re.compile("All defects")).first.click()
    page.locator("article.defect a").first.click()
    page.locator("#confirm summary").click()
    page.get_by_role("button", name="Confirm that it is put right").click()
    expect(page.locator("main")).to_contain_text("Confirmed as put right")
    find(page, site, "PL-10")
    expect(page.locator("main")).to_contain_text("Can be let today")
    context.close()
