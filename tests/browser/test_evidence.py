"""Evidence in a real browser: brought with a phone, looked at side by side, a PDF read without being able to act."""

import io
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from PIL import Image
from playwright.sync_api import expect

from inspections.models import Defect, Evidence
from portfolio.law import model as law
from tests.browser.test_axe import PHONE, TARGET, _noon, check, open_page  # noqa: F401 - fixtures
from tests.factories import make_agency, make_home, make_user
from tests.portfolio.test_documents_preview import acting_pdf
from tests.processes import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def defect():
    found = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20))
    return Defect.objects.get(unit=make_home(make_agency(), defects=(found,)))


def photo(path: Path, colour: str) -> Path:
    out = io.BytesIO()
    Image.new("RGB", (800, 600), colour).save(out, "JPEG")
    path.write_bytes(out.getvalue())
    return path


def seen(page) -> set[tuple[int, ...]]:
    """The colours on the screen, each part told as dark (0), middling or full (3)."""
    with Image.open(io.BytesIO(page.screenshot())) as screen:
        colours: Any = screen.convert("RGB").getcolors(2**24) or ()
    return {tuple(part // 64 for part in colour) for _, colour in colours}


def bring(page, stage: str, *files: Path, says: str = "") -> None:
    page.get_by_label(stage).check()
    page.get_by_label("Photos or papers").set_input_files(list(files))
    page.get_by_label("What was done or seen").fill(says)
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("of proof for ‘Cracked socket’").wait_for()


def test_a_landlord_brings_before_and_after_with_a_phone(open_page, live_server, defect, tmp_path):  # noqa: F811
    owner = make_user(defect.unit.agency, "landlord", landlord=defect.unit.landlord)
    page = open_page(PHONE, "light", owner)
    address = live_server.url + reverse("evidence_add", args=[defect.pk])
    page.goto(address)
    bring(page, "Before the work", photo(tmp_path / "before.jpg", "red"))
    page.goto(address)
    two = [photo(tmp_path / f"after-{n}.jpg", colour) for n, colour in enumerate(("green", "blue"))]
    bring(page, "After the work", *two, says="New plate.")
    page.goto(address)
    pictures = page.locator(".shot img")
    expect(pictures).to_have_count(3)
    for n in range(3):
        pictures.nth(n).scroll_into_view_if_needed()
        page.wait_for_function("n => document.querySelectorAll('.shot img')[n].naturalWidth === 320", arg=n)
    before, after = page.locator(".evidence > section").all()
    assert after.bounding_box()["y"] >= before.bounding_box()["y"] + before.bounding_box()["height"]
    small = [
        link.inner_text()
        for link in page.locator(".shot a").all()
        if (link.bounding_box() or {"height": TARGET})["height"] < TARGET
    ]
    assert small == []
    page.set_viewport_size({"width": 1280, "height": 900})
    assert after.bounding_box()["y"] == before.bounding_box()["y"]
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the original of before.jpg").click()
    assert download.value.path().read_bytes() == (tmp_path / "before.jpg").read_bytes()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_pages_of_evidence(open_page, live_server, defect, tmp_path, scheme):  # noqa: F811
    agent = make_user(defect.unit.agency)
    page = open_page(1280, scheme, agent)
    page.goto(live_server.url + reverse("evidence_add", args=[defect.pk]))
    bring(page, "After the work", photo(tmp_path / "a.jpg", "green"), says="New plate.")
    page.goto(live_server.url + reverse("evidence_add", args=[defect.pk]))
    found = check(page, "evidence", scheme)
    page.goto(live_server.url + reverse("evidence_withdraw", args=[Evidence.objects.get().pk]))
    found += check(page, "withdraw", scheme)
    page.get_by_label("Why is it withdrawn?").fill("Wrong room.")
    page.get_by_role("button", name="Withdraw it").click()
    page.goto(live_server.url + reverse("evidence_add", args=[defect.pk]))
    page.get_by_text("Withdrawn: 1").click()
    page.locator("form[enctype]").evaluate("form => { form.noValidate = true }")
    found += check(page, "evidence, withdrawn", scheme)
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("alert").wait_for()
    assert found + check(page, "evidence, faulty", scheme) == []


@pytest.mark.parametrize("chromium", ["whole"], indirect=True)
def test_a_pdf_can_be_read_in_the_browser(open_page, live_server, defect, tmp_path):  # noqa: F811
    agent = make_user(defect.unit.agency)
    (tmp_path / "paper.pdf").write_bytes(acting_pdf())
    page = open_page(1280, "light", agent)
    page.goto(live_server.url + reverse("evidence_add", args=[defect.pk]))
    bring(page, "After the work", tmp_path / "paper.pdf")
    address = live_server.url + reverse("evidence_preview", args=[Evidence.objects.get().pk])
    page.goto(address)
    wait_until(lambda: seen(page) >= {(3, 0, 0), (0, 0, 3)}, 20)
