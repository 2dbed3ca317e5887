"""Jobs, contractors and people in a real browser; the contractor's page without scripts, on a phone, and on paper."""

import io
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Browser, Page

from inspections.models import Defect, Evidence, Job
from inspections.services import jobs
from inspections.services.defects import defect_send_back
from tests.browser.test_axe import PHONE, PRESSED, SMALL, TARGET, check
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=True)


@pytest.fixture
def pages(chromium: Browser, live_server: Any) -> Iterator[Any]:
    """Opens a window, without scripts unless asked for; what the browser complains of fails the test."""
    contexts, complaints = [], []

    def opened(user: Any = None, *, width: int = PHONE, scheme: str = "light", scripts: bool = False) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": 780},
            color_scheme=scheme,  # type: ignore[arg-type]
            java_script_enabled=scripts,
        )
        contexts.append(context)
        if user is not None:
            client = Client()
            client.force_login(user)
            value = client.cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies(
                [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
            )
        page = context.new_page()
        page.on("console", lambda m: complaints.append(m.text) if "Content Security" in m.text else None)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


@pytest.fixture
def firm(agent):
    made = make_firm(agent.agency)
    make_firm(agent.agency, "Lapsed & Sons", electrical=DAY.replace(day=1))
    return made


def test_from_choosing_defects_to_proof_without_scripts(pages, live_server, agent, firm):
    defects = make_defects(agent.agency, "C1", "C2")
    office = pages(agent, width=1280)
    office.goto(f"{live_server.url}{reverse('job_new')}?defect={defects[0].pk}&defect={defects[1].pk}")
    office.get_by_label("Wire & Co").check()
    office.get_by_label("How to get in").fill("Key at no 4.")
    office.get_by_role("button", name="Look at the mail").click()
    office.get_by_role("heading", name="The mail as it would go").wait_for()
    office.get_by_role("button", name="Send the job").click()
    office.get_by_role("heading", name="Job 1 for Wire & Co").wait_for()
    message = agent.agency.messages.get(kind="job")
    link = next(line for line in message.text.splitlines() if "/j/" in line)

    phone = pages()
    phone.goto(link.replace(settings.SNECK_SITE, live_server.url))
    phone.get_by_role("button", name="I have read this").click()
    phone.get_by_role("button", name="I take this job").click()
    phone.get_by_label("Day", exact=False).first.fill("2026-12-01")
    phone.get_by_role("button", name="Propose it").click()
    phone.get_by_text("Day proposed: 1 Dec 2026").wait_for()
    card = phone.locator(f"#defect-{defects[1].pk}")
    card.locator("summary", has_text="The work is done").click()
    # Without scripts Chromium goes on to say that what is unfolded cannot be seen, though it draws it: hence `force`.
    card.get_by_label("Work done on").fill("2026-11-25", force=True)
    card.get_by_label("Kind of work").select_option("accessory_swap", force=True)
    card.locator("button", has_text="Say that it is done").click(force=True)
    phone.get_by_text("Recorded as done: Fault 2").wait_for()
    card.locator("summary", has_text="Send photos").click()
    out = io.BytesIO()
    Image.new("RGB", (300, 200), "green").save(out, "JPEG")
    card.get_by_label("Photos or papers").set_input_files(
        [{"name": "after.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}]
    )
    card.locator("button", has_text="Send it").click(force=True)
    phone.get_by_text("Kept: 1 piece of proof").wait_for()

    assert Defect.objects.get(pk=defects[1].pk).completed_for == firm
    assert Evidence.objects.get().contractor == firm
    job = Job.objects.get()
    assert (job.answer, job.seen_at is not None) == ("accepted", True)


@pytest.fixture
def town(agent, firm):
    """A job in every part of which there is something to see, and one of each page's object."""
    defects = make_defects(
        agent.agency, "C1", "C2", "C2", note="Buzzes.", made_safe=DAY, made_safe_how="Off."
    )
    job, token = send(firm, defects, agent, access_notes="Key at no 4.")
    jobs.job_propose_day(job.pk, day=DAY, moment=at())
    for defect in defects[1:]:
        jobs.job_claim_done(job.pk, defect.pk, on=DAY, work="consumer_unit", moment=at())
    inspector = make_user(agent.agency, "inspector", competent=["bs7671"])
    defect_send_back(defects[2].pk, why="No schedule.", actor=inspector, moment=at())
    more = make_defects(agent.agency, "C2", label="Flat 3")
    query = f"?defect={more[0].pk}"
    held = firm.registrations.all()[0]
    return {
        "link": reverse("job_link", args=[token]),
        "dead link": reverse("job_link", args=["x"]),
        "jobs": reverse("jobs"),
        "job": reverse("job", args=[job.pk]),
        "new job": reverse("job_new") + query,
        "new job, with another": reverse("job_new") + f"{query}&defect={defects[0].pk}",
        "new job, nothing chosen": reverse("job_new"),
        "contractors": reverse("contractors"),
        "contractor": reverse("contractor", args=[firm.pk]),
        "contractor, to change": reverse("contractor_change", args=[firm.pk]),
        "registration": reverse("registration_add", args=[firm.pk]),
        "registration, to withdraw": reverse("registration_withdraw", args=[held.pk]),
        "people": reverse("people"),
        "competence": reverse("competence_add", args=[inspector.pk]),
    }


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (PHONE, "dark")])
def test_axe_finds_nothing_and_nothing_runs_off_a_narrow_screen(
    pages, live_server, agent, town, width, scheme
):
    page = pages(agent, width=width, scheme=scheme, scripts=True)
    found = []
    for name, address in town.items():
        page.set_viewport_size({"width": width, "height": 780})
        page.goto(live_server.url + address)
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true })")
        found += check(page, name, scheme)
    assert found == []


def test_everything_to_press_is_big_enough_for_a_thumb(pages, live_server, agent, town):
    page = pages(agent, scripts=True)
    for name, address in town.items():
        page.goto(live_server.url + address)
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true })")
        assert page.evaluate(SMALL, [PRESSED, TARGET]) == [], name
