"""Defects, proof to confirm and the observations of a report in a real browser, most of it without scripts."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from inspections.models import Defect
from inspections.services.defects import defect_claim_done, defect_record, defect_send_back
from portfolio.law import model as law
from portfolio.services.certificates import certificate_add
from tests.browser.test_axe import PHONE, PRESSED, SMALL, TARGET, check
from tests.factories import DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
FOUND = date(2026, 11, 1)


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=True)


@pytest.fixture
def pages(chromium: Browser, live_server: Any) -> Iterator[Any]:
    """Opens a window, without scripts unless asked for; what the browser complains of fails the test."""
    contexts, complaints = [], []

    def opened(user: Any, *, width: int = PHONE, scheme: str = "light", scripts: bool = False) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": 780},
            color_scheme=scheme,  # type: ignore[arg-type]
            java_script_enabled=scripts,
        )
        contexts.append(context)
        client = Client()
        client.force_login(user)
        value = client.cookies[settings.SESSION_COOKIE_NAME].value
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}])
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if "Content Security" in m.text else None)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


class Town:
    """A home with defects in every state that a page draws differently."""

    def __init__(self) -> None:
        self.agency = make_agency("Latchford Lettings")
        self.agent, self.inspector = make_user(self.agency), make_user(self.agency, "inspector")
        self.home = make_home(self.agency, label="Flat 1")
        self.danger = self.record("C1", "Bare wires behind the cooker, within reach of a child")
        self.late = self.record("C2", "Cracked socket")
        self.done = self.say_done(
            self.record("C2", "No RCD for sockets that may serve tools outdoors"), "rcd_added"
        )
        self.back = self.say_done(self.record("FI", "Reading not taken"), "small_electrical")
        defect_send_back(self.back.pk, why="Photo of the board, please.", actor=self.inspector, moment=at())
        self.shut = self.record("C3", "Old board")
        Defect.objects.filter(pk=self.shut.pk).update(
            completed=DAY, confirmed=DAY, confirmed_by=self.inspector
        )
        facts = law.Certificate("", "eicr", inspected=FOUND, outcome="unsatisfactory")
        self.report = certificate_add(self.home.pk, facts, actor=self.agent, moment=at())

    def record(self, code: str, title: str) -> Defect:
        return defect_record(
            self.home.pk, scheme="bs7671", code=code, title=title, found=FOUND, place="Behind it",
            room=self.home.rooms.first(), actor=self.inspector, moment=at(),
        )  # fmt: skip

    def say_done(self, defect: Defect, work: str) -> Defect:
        return defect_claim_done(defect.pk, on=DAY, work=work, actor=self.agent, moment=at())

    def urls(self) -> dict[str, str]:
        one = {
            name: reverse("defect", args=[getattr(self, name).pk])
            for name in ("danger", "done", "back", "shut")
        }
        return one | {
            "list": reverse("open_defects"),
            "list, narrowed": f"{reverse('open_defects')}?when=late&trade=electrical&q=flat",
            "list, a fault": f"{reverse('open_defects')}?scheme=never",
            "list, none": f"{reverse('open_defects')}?q=nowhere",
            "of the home": reverse("defects", args=[self.home.pk]),
            "proof": reverse("proof"),
            "report": reverse("observations", args=[self.report.pk]),
        }


@pytest.fixture
def town() -> Town:
    return Town()


def opened_up(page: Page) -> None:
    """Unfold every step."""
    page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true })")


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", PHONE)])
@pytest.mark.parametrize("role", ["agent", "inspector"])
def test_axe_finds_nothing_and_nothing_runs_off_a_narrow_screen(
    pages, live_server, town, scheme, width, role
):
    page = pages(getattr(town, role), width=width, scheme=scheme, scripts=True)
    found = []
    for name, url in town.urls().items():
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(live_server.url + url)
        opened_up(page)
        found += check(page, f"{name}, {role}", scheme)
    assert found == []


def test_everything_to_press_is_big_enough_for_a_thumb(pages, live_server, town):
    page = pages(town.inspector, scripts=True)
    for name, url in town.urls().items():
        page.goto(live_server.url + url)
        opened_up(page)
        assert page.evaluate(SMALL, [PRESSED, TARGET]) == [], name


def test_a_danger_says_first_what_to_do_now(pages, live_server, town):
    page = pages(town.agent)
    page.goto(live_server.url + reverse("defect", args=[town.danger.pk]))
    now = page.get_by_role("heading", name="What to do now")
    expect(now).to_be_visible()
    box = now.bounding_box()
    assert box is not None
    assert box["y"] < 780


def test_a_list_is_pasted_put_right_and_recorded(pages, live_server, town):
    page = pages(town.inspector)
    page.goto(live_server.url + reverse("observations", args=[town.report.pk]))
    page.get_by_label("Observations").fill("C2, Loose joint, loft\nNo labels, board")
    page.get_by_role("button", name="Check them").click()
    expect(page.get_by_role("alert")).to_contain_text("1 line cannot be taken yet")
    expect(page.locator("main")).to_contain_text("Line 2: No class.")
    page.get_by_label("Observations").fill("C2, Loose joint, loft\nC3, No labels, board")
    page.get_by_role("button", name="Check again").click()
    page.get_by_role("button", name="Record 2 defects").click()
    expect(page.locator("main")).to_contain_text("Recorded: 2 defects")
    assert Defect.objects.filter(certificate=town.report).count() == 2


def test_a_fault_of_a_step_leaves_it_open_with_what_was_written(pages, live_server, town):
    page = pages(town.inspector)
    page.goto(live_server.url + reverse("defect", args=[town.done.pk]))
    page.locator("#confirm summary").click()
    page.get_by_role("button", name="Confirm that it is put right").click()
    expect(page.get_by_role("alert")).to_contain_text("has not come back")
    expect(page.get_by_label("Why there is no paper")).to_be_visible()
    page.get_by_label("Why there is no paper").fill("The firm is gone.")
    page.get_by_role("button", name="Confirm that it is put right").click()
    expect(page.locator("main")).to_contain_text("Without a paper: The firm is gone.")


def test_what_is_ticked_goes_to_the_page_of_a_new_job(pages, live_server, town):
    page = pages(town.agent, width=1280)
    page.goto(live_server.url + reverse("open_defects"))
    page.get_by_label("Pick Cracked socket").check()
    page.get_by_label("Pick Bare wires").check()
    page.get_by_role("button", name="Send what is ticked").click()
    assert page.url.endswith(f"?defect={town.danger.pk}&defect={town.late.pk}")
    expect(page.locator("main")).to_contain_text("Cracked socket")


def test_paper_shows_the_list(pages, live_server, town):
    page = pages(town.agent, width=1280)
    page.goto(live_server.url + reverse("open_defects"))
    page.emulate_media(media="print")
    expect(page.get_by_role("link", name="Cracked socket")).to_be_visible()
    expect(page.get_by_role("button", name="Show")).to_be_hidden()
