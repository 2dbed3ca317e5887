"""A visit on a phone in Chromium: without a network, with a server that fails, with the log-in gone, by two people.

Whatever happens on the way, in the end the server has exactly one of each thing, and photos byte for byte.
"""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from inspections.models import Defect, Evidence, Look, Visit
from inspections.services.visits import visit_begin, visit_end
from portfolio import clock
from portfolio.models import Agency, Room, Unit, User
from tests.browser.test_axe import NARROWEST, OPTIONS, PRESSED, SMALL, TARGET
from tests.factories import at, make_agency, make_home, make_user
from tests.inspections.pictures import jpeg

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

PATIENCE = 20_000
"""Milliseconds for what waits between two tries, on a machine that is busy."""
KEPT = """async () => {
  await navigator.serviceWorker.ready;
  const names = (await caches.keys()).filter(name => name.startsWith('visit-pages-'));
  const files = await (await caches.open('visit-files')).keys();
  return names.length && files.length > 2 ? (await (await caches.open(names[0])).keys()).length : 0;
}"""


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=True)


@pytest.fixture
def agency() -> Agency:
    return make_agency()


@pytest.fixture
def inspector(agency: Agency) -> User:
    return make_user(agency, "inspector", competent=["bs7671"])


@pytest.fixture
def home(agency: Agency) -> Unit:
    return make_home(agency, defects=None)


@pytest.fixture
def visit(home: Unit, inspector: User) -> Visit:
    return visit_begin(home.pk, key=uuid4(), actor=inspector, moment=at())


@dataclass
class Phone:
    """A browser of its own in which one person is logged in."""

    context: BrowserContext
    page: Page
    site: str
    complaints: list[str] = field(default_factory=list)

    def log_in(self, user: User) -> None:
        client = Client()
        client.force_login(user)
        value = client.cookies[settings.SESSION_COOKIE_NAME].value
        self.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": self.site}])

    def open(self, visit: Visit) -> None:
        self.page.goto(self.site + reverse("visit", args=[visit.key]))

    def open_and_keep(self, visit: Visit) -> None:
        """Until the page and its files are kept for when there is no network."""
        self.open(visit)
        self.says("All sent.")
        self.page.wait_for_function(KEPT)

    def place(self, name: str) -> Any:
        return self.page.locator(".visit-room", has=self.page.get_by_role("heading", name=name, exact=True))

    def nothing(self, name: str) -> None:
        self.place(name).get_by_role("button", name="Nothing found here").click()
        expect(self.place(name)).to_contain_text("Nothing found")

    def not_seen(self, name: str, why: str) -> None:
        self.place(name).locator("summary").click()
        self.place(name).get_by_label("What, and why?").fill(why)
        self.place(name).get_by_role("button", name="Record it").click()
        expect(self.place(name)).to_contain_text(why)

    def found(self, name: str, title: str, code: str = "bs7671:C2", photos: tuple[bytes, ...] = ()) -> None:
        self.place(name).get_by_role("link", name="Add a defect").click()
        form = self.page.locator("#add form")
        for number, photo in enumerate(photos, start=1):
            form.get_by_label("Take a photo").set_input_files(
                {"name": f"{number}.jpg", "mimeType": "image/jpeg", "buffer": photo}
            )
            expect(form).to_contain_text(f"{number} photo")
        form.get_by_label("What is wrong?").fill(title)
        form.locator(f"[name=scheme][value={code.partition(':')[0]}]").check()
        form.locator(f"[name=code][value='{code}']").check()
        form.get_by_role("button", name="Record it").click()
        expect(self.place(name)).to_contain_text(title)

    def says(self, text: str) -> None:
        expect(self.page.locator("#unsent")).to_contain_text(text, timeout=PATIENCE)

    def send_now(self) -> None:
        self.page.get_by_role("button", name="Send now").click()


@pytest.fixture
def phone(chromium: Browser, live_server: LiveServer) -> Iterator[Callable[..., Phone]]:
    phones: list[Phone] = []

    def made(user: User, **more: Any) -> Phone:
        context = chromium.new_context(
            viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, **more
        )
        one = Phone(context, context.new_page(), live_server.url)
        phones.append(one)
        one.page.on("pageerror", lambda error: one.complaints.append(str(error)))
        one.page.on(
            "console",
            lambda m: one.complaints.append(m.text) if "Content Security Policy" in m.text else None,
        )
        one.log_in(user)
        return one

    yield made
    for one in phones:
        one.context.close()
    assert [complaint for one in phones for complaint in one.complaints] == []


def test_without_a_network_a_reload_and_a_server_that_fails_half_way(phone, visit, inspector, home):
    mine = phone(inspector)
    mine.open_and_keep(visit)
    photos = (jpeg(10, side=700), jpeg(20), jpeg(30))
    mine.context.set_offline(True)
    mine.found("Kitchen, ground floor", "Cracked socket", photos=photos[:2])
    mine.nothing("Hall, ground floor")
    mine.says("4 not sent yet.")
    mine.page.reload()
    mine.says("4 not sent yet.")
    expect(mine.place("Kitchen, ground floor")).to_contain_text("2 photos, not sent yet")
    mine.page.get_by_role("button", name="Utility room").click()
    mine.found("Utility room, ground floor", "Bare wires at the boiler", "bs7671:C1", photos[2:])
    expect(mine.page.locator("#now")).to_contain_text("Do not touch it and do not open any cover")
    mine.not_seen("Bathroom, ground floor", "Locked, no key.")
    mine.says("8 not sent yet.")

    answers = iter(["lost", "failed", "cut", *["through"] * 40])

    def failing(route: Route) -> None:
        how = next(answers)
        if how == "lost":  # the server takes it and the answer never comes
            route.fetch()
            route.abort()
        elif how == "failed":
            route.fulfill(status=500, body="Server error")
        elif how == "cut":
            route.abort("connectionreset")
        else:
            route.continue_()

    mine.context.route("**/record/", failing)
    mine.context.set_offline(False)
    mine.says("All sent.")

    assert Defect.objects.filter(visit=visit).count() == 2
    assert set(Look.objects.values_list("what", "room__use")) == {
        ("nothing", "hall"),
        ("not_seen", "bathroom"),
    }
    room = Room.objects.get(unit=home, use="utility")
    assert Defect.objects.get(code="C1").room == room
    kept = sorted(Evidence.objects.values_list("document__sha256", flat=True))
    assert kept == sorted(hashlib.sha256(photo).hexdigest() for photo in photos)
    assert set(Evidence.objects.values_list("defect__title", "stage")) == {
        ("Cracked socket", "before"),
        ("Bare wires at the boiler", "before"),
    }
    assert next(answers) == "through"
    mine.page.reload()
    expect(mine.place("Kitchen, ground floor")).to_contain_text("2 photos")
    assert "not sent yet" not in mine.page.inner_text("#places")


def test_what_was_sent_still_shows_where_there_is_no_network_any_more(phone, visit, inspector):
    mine = phone(inspector)
    mine.open_and_keep(visit)
    mine.found("Kitchen, ground floor", "Cracked socket")
    mine.says("All sent.")
    mine.context.set_offline(True)
    mine.page.reload()
    expect(mine.place("Kitchen, ground floor")).to_contain_text("Cracked socket")
    assert "not sent yet" not in mine.page.inner_text("#places")


def test_the_log_in_lost_in_between(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    mine.says("All sent.")
    mine.context.clear_cookies()
    mine.found("Kitchen, ground floor", "Cracked socket", photos=(jpeg(),))
    mine.says("2 not sent yet. You are logged out.")
    link = mine.page.get_by_role("link", name="Log in again; nothing is lost")
    assert reverse("visit", args=[visit.key]) in str(link.get_attribute("href"))
    mine.log_in(inspector)
    mine.send_now()
    mine.says("All sent.")
    assert Evidence.objects.filter(defect__visit=visit).count() == Defect.objects.count() == 1


def test_another_person_neither_sees_nor_sends_what_is_not_theirs(phone, visit, inspector, agency):
    mine = phone(inspector)
    mine.open_and_keep(visit)
    mine.context.set_offline(True)
    mine.found("Kitchen, ground floor", "Cracked socket")
    mine.says("1 not sent yet.")
    mine.context.clear_cookies()
    mine.log_in(make_user(agency, "inspector"))
    mine.context.set_offline(False)
    mine.says("Somebody else is logged in.")
    assert not Defect.objects.exists()
    mine.page.reload()
    mine.says("All sent.")
    expect(mine.page.locator("main")).to_contain_text("Somebody else recorded 1 thing with this browser")
    assert mine.page.get_by_text("Cracked socket", exact=True).count() == 0
    names = mine.page.evaluate("caches.keys()")
    assert f"visit-pages-{inspector.pk}" not in names
    mine.log_in(inspector)
    mine.page.reload()
    mine.says("All sent.")
    assert Defect.objects.get().recorded_by == inspector


def test_a_log_out_empties_what_is_kept_and_warns_of_what_is_not_sent(phone, visit, inspector):
    mine = phone(inspector)
    mine.open_and_keep(visit)
    mine.context.route("**/record/", lambda route: route.fulfill(status=500))
    mine.found("Kitchen, ground floor", "Cracked socket")
    mine.says("1 not sent yet.")
    asked: list[str] = []
    answers = iter([False, True])

    def answer(dialog: Any) -> None:
        asked.append(dialog.message)
        if next(answers):
            dialog.accept()
        else:
            dialog.dismiss()

    mine.page.on("dialog", answer)
    mine.page.get_by_role("button", name="Log out").click()
    mine.says("1 not sent yet.")
    mine.page.get_by_role("button", name="Log out").click()
    mine.page.wait_for_url("**/account/login/**")
    assert len(asked) == 2
    assert "1 not sent yet" in asked[0]
    mine.page.wait_for_function(
        "async () => !(await caches.keys()).some(name => name.startsWith('visit-pages-'))"
    )


def test_two_phones_on_one_visit(phone, visit, inspector, agency):
    other = make_user(agency, "inspector", name="Another Inspector")
    mine, theirs = phone(inspector), phone(other)
    mine.open_and_keep(visit)
    theirs.open(visit)
    mine.found("Kitchen, ground floor", "Cracked socket")
    mine.says("All sent.")
    theirs.nothing("Hall, ground floor")
    theirs.says("All sent.")
    expect(theirs.place("Kitchen, ground floor")).to_contain_text("Cracked socket")
    mine.context.set_offline(True)
    mine.found("Bedroom, ground floor", "Loose light fitting")
    mine.says("1 not sent yet.")
    visit_end(visit.pk, actor=other, moment=clock.moment())
    expect(theirs.place("Hall, ground floor")).to_contain_text("Nothing found")
    mine.context.set_offline(False)
    expect(mine.page.get_by_role("heading", name="What this visit says")).to_be_visible(timeout=PATIENCE)
    expect(mine.place("Bedroom, ground floor")).to_contain_text("Loose light fitting")
    assert sorted(Defect.objects.values_list("title", flat=True)) == ["Cracked socket", "Loose light fitting"]


def test_what_the_server_refuses_stays_until_it_is_cured(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    refuse = iter([True, *[False] * 20])
    mine.context.route(
        "**/record/",
        lambda route: (
            route.fulfill(status=400, json={"error": "Say it in other words."})
            if next(refuse)
            else route.continue_()
        ),
    )
    mine.found("Kitchen, ground floor", "Cracked sokcet", photos=(b"no picture at all",))
    expect(mine.page.locator("#not-taken")).to_contain_text("Cracked sokcet: Say it in other words.")
    mine.says("2 not sent yet.")
    mine.page.get_by_role("button", name="Change it").click()
    mine.page.get_by_label("What is wrong?").fill("Cracked socket")
    mine.page.locator("#add").get_by_role("button", name="Record it").click()
    expect(mine.page.locator("#not-taken")).to_contain_text("whatever its name says")
    mine.says("1 not sent yet.")
    mine.page.get_by_role("button", name="End the visit").click()
    expect(mine.page.get_by_role("heading", name="Not taken")).to_be_focused()
    mine.page.once("dialog", lambda dialog: dialog.accept())
    mine.page.get_by_role("button", name="Drop it").click()
    mine.says("All sent.")
    assert Defect.objects.get().title == "Cracked socket"
    assert not Evidence.objects.exists()


def test_the_end_asks_once_about_rooms_nobody_spoke_of(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    for name in ("Hall", "Living room", "Kitchen"):
        mine.nothing(f"{name}, ground floor")
    end = mine.page.locator("#end")
    expect(end.locator("#end-silent")).to_contain_text("Bedroom, ground floor")
    end.get_by_role("button", name="End the visit").click()
    expect(end).to_contain_text("never as nothing found")
    assert Visit.objects.get().ended_at is None
    end.get_by_role("button", name="Yes, end the visit").click()
    expect(mine.page.get_by_role("heading", name="What this visit says")).to_be_visible(timeout=PATIENCE)
    assert Look.objects.filter(says="Not looked at.").count() == 2
    assert not Unit.objects.get().defects_listed


def test_the_page_suggests_and_the_inspector_decides(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    mine.place("Kitchen, ground floor").get_by_role("link", name="Add a defect").click()
    form = mine.page.locator("#add form")
    form.get_by_label("What is wrong?").fill("Gap in the consumer unit where a blank is missing")
    expect(form).to_contain_text("Usually C1; C2 if a finger cannot get as far as a live part. You decide.")
    form.get_by_label("What is wrong?").fill("Smell of gas")
    expect(form.locator("[name=scheme][value=gas]")).to_be_checked()
    assert form.locator("[name=code]:checked").count() == 0
    form.get_by_role("button", name="Record it").click()
    expect(form.get_by_role("alert")).to_contain_text("Choose a class.")
    form.get_by_label("Suspected gas defect, dangerous now", exact=True).check()
    form.get_by_role("button", name="Record it").click()
    expect(mine.page.locator("#now")).to_contain_text("no flames, no switches")
    mine.says("All sent.")
    one = Defect.objects.get()
    assert (one.typical, one.trade, one.suspected, one.room.ref) == ("GA01", "gas", True, "kitchen")


def test_while_a_defect_is_written_only_one_button_records_it(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    bar = mine.page.locator(".visit-bar").get_by_role("link", name="Add a defect")
    expect(bar).to_be_visible()
    mine.place("Kitchen, ground floor").get_by_role("link", name="Add a defect").click()
    expect(bar).to_be_hidden()
    mine.found("Kitchen, ground floor", "Cracked socket")
    expect(bar).to_be_visible()


def test_the_whole_visit_with_scripts_off(phone, home, inspector):
    mine = phone(inspector, java_script_enabled=False)
    page = mine.page
    page.goto(mine.site + reverse("home", args=[home.pk]))
    page.get_by_role("link", name="Begin a visit").click()
    page.get_by_role("button", name="Begin a visit").click()
    mine.place("Kitchen, ground floor").get_by_role("link", name="Add a defect").click()
    form = page.locator("#add form")
    expect(form.get_by_label("Room")).to_have_value("kitchen")
    photo = jpeg(77)
    form.get_by_label("Take a photo").set_input_files(
        {"name": "1.jpg", "mimeType": "image/jpeg", "buffer": photo}
    )
    form.get_by_label("What is wrong?").fill("Bare wires")
    form.get_by_label("C1: danger present").check()
    form.get_by_role("button", name="Record it").click()
    expect(page.locator("#now")).to_contain_text("What to do now: Bare wires")
    mine.nothing("Hall, ground floor")
    mine.not_seen("Bathroom, ground floor", "Locked.")
    page.get_by_role("button", name="Landing").click()
    expect(mine.place("Landing, ground floor")).to_be_visible()
    page.get_by_role("button", name="End the visit").click()
    page.get_by_role("button", name="Yes, end the visit").click()
    expect(page.get_by_role("heading", name="What this visit says")).to_be_visible()
    assert Evidence.objects.get().document.sha256 == hashlib.sha256(photo).hexdigest()
    assert Visit.objects.get().ended_by == inspector


def test_the_keyboard_alone(phone, visit, inspector):
    mine = phone(inspector)
    mine.open(visit)
    mine.says("All sent.")
    page = mine.page
    mine.place("Kitchen, ground floor").get_by_role("link", name="Add a defect").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("Take a photo")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(page.get_by_label("What is wrong?")).to_be_focused()
    page.keyboard.type("Cracked socket")
    for _ in range(4):  # room, place, kind, class
        page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    expect(page.locator("[name=code]:checked")).to_have_value("bs7671:C2")
    page.keyboard.press("Enter")
    expect(mine.place("Kitchen, ground floor")).to_contain_text("Cracked socket")
    expect(mine.place("Kitchen, ground floor").locator("h3")).to_be_focused()
    mine.says("All sent.")
    assert Defect.objects.get().title == "Cracked socket"


def test_axe_finds_nothing_and_everything_is_big_enough_for_a_thumb(phone, visit, inspector, home):
    found = []
    for scheme in ("light", "dark"):
        mine = phone(inspector, color_scheme=scheme)
        mine.open(visit)
        mine.says("All sent.")
        mine.context.route("**/record/", lambda route: route.fulfill(status=400, json={"error": "No."}))
        mine.found("Kitchen, ground floor", "Bare wires", "bs7671:C1", (jpeg(),))
        expect(mine.page.locator("#not-taken")).to_be_visible()
        found += axe(mine.page, scheme)
        assert mine.page.evaluate(SMALL, [PRESSED, TARGET]) == []
        mine.page.goto(mine.site + reverse("visits", args=[home.pk]))
        found += axe(mine.page, scheme)
    visit_end(visit.pk, actor=inspector, moment=at().__class__(at().at + timedelta(minutes=5), at().day))
    mine.context.unroute("**/record/")
    mine.open(visit)
    found += axe(mine.page, "ended")
    assert found == []


def axe(page: Page, name: str) -> list[str]:
    wide = page.evaluate("document.documentElement.scrollWidth")
    found = [
        f"{name}: {v['id']}: {v['nodes'][0]['html'][:160]}"
        for v in Axe().run(page, options=OPTIONS).response["violations"]
    ]
    size = page.viewport_size
    page.set_viewport_size({"width": NARROWEST, "height": 640})
    narrow = page.evaluate("document.documentElement.scrollWidth")
    page.set_viewport_size(size)
    return found + [f"{name}: {w} px wide" for w, most in ((wide, 360), (narrow, NARROWEST)) if w > most]
