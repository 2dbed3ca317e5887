"""People who each have a browser of their own, and what axe finds on the pages that they come by."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Browser, FilePayload, Page, expect
from pytest_django.live_server_helper import LiveServer

from portfolio.demo import papers
from portfolio.models import User
from tests.browser.test_axe import NARROWEST, OPTIONS
from tests.browser.test_visit import Phone


@dataclass
class Browsers:
    """A browser for each person; what axe finds on the pages on the way is gathered in `found`."""

    chromium: Browser
    site: str
    opened: list[Phone]
    found: list[str]

    def of(self, user: User | None, width: int = 1280, **more: Any) -> Phone:
        context = self.chromium.new_context(viewport={"width": width, "height": 780}, **more)
        one = Phone(context, context.new_page(), self.site)
        one.page.on("pageerror", lambda error: one.complaints.append(str(error)))
        one.page.on(
            "console", lambda m: one.complaints.append(m.text) if "Content Security" in m.text else None
        )
        if user is not None:
            one.log_in(user)
        self.opened.append(one)
        return one

    def look(self, page: Page, name: str) -> None:
        """Note what axe finds here, and whether anything runs off this screen or the narrowest one."""
        size = page.viewport_size
        assert size
        page.wait_for_load_state()
        self.found += [
            f"{name}: {v['id']}: {v['nodes'][0]['html'][:160]}"
            for v in Axe().run(page, options=OPTIONS).response["violations"]
        ]
        for width in (size["width"], NARROWEST):
            page.set_viewport_size({"width": width, "height": size["height"]})
            wide = page.evaluate("document.documentElement.scrollWidth")
            self.found += [f"{name}: {wide} px wide on {width}"] if wide > width else []
        page.set_viewport_size(size)


@pytest.fixture(name="browsers")
def of_everybody(chromium: Browser, live_server: LiveServer) -> Iterator[Browsers]:
    made = Browsers(chromium, live_server.url, [], [])
    yield made
    for one in made.opened:
        one.context.close()
    complaints = [complaint for one in made.opened for complaint in one.complaints]
    assert not made.found + complaints, "\n".join(made.found + complaints)


def go(one: Phone, name: str, *args: Any) -> Page:
    one.page.goto(one.site + reverse(name, args=args))
    return one.page


def main(page: Page) -> Any:
    return expect(page.locator("main"))


def photo(caption: str) -> FilePayload:
    name = f"{caption}.jpg"
    return {"name": name, "mimeType": "image/jpeg", "buffer": papers.photograph(caption, name).read()}


def certificate() -> FilePayload:
    content = papers.scan("Minor works certificate", ["Number MW-7"], "mw.pdf").read()
    return {"name": "mw.pdf", "mimeType": "application/pdf", "buffer": content}
