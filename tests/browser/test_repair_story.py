"""The second main job from end to end: from a visit to a proven repair, each person with a browser of their own.

An agent marks a home; an inspector with a phone finds a C2 in its kitchen, and the mark goes by itself. The agent
sends the defect to the electrician, who answers by the link of the mail; the landlord adds what they saw; an
inspector without a hand in it confirms; the home shows clear, and only then the agent marks it again.
"""

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import FilePayload, expect

from inspections.models import Contractor, Defect, Evidence, Job, JobLink, Look, Visit
from inspections.services.defects import defect_claim_done
from notifications.models import Message
from portfolio.law import model as law
from portfolio.models import Certificate, Clearance, Due, Event, Unit, User
from portfolio.services import events
from portfolio.services.certificates import certificate_add
from tests.browser.browsers import Browsers, certificate, go, main, of_everybody, photo  # noqa: F401 - a fixture
from tests.browser.test_axe import PHONE
from tests.browser.test_visit import PATIENCE, Phone
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.inspections.job_cases import NEXT_YEAR, make_firm

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

WHAT = "Cooker cable scorched behind its switch"
ROOMS = ("Hall", "Living room", "Bedroom", "Bathroom")


@pytest.fixture(autouse=True)
def _noon(time_machine: Any) -> None:
    time_machine.move_to(at().at, tick=True)


@dataclass(frozen=True)
class Town:
    """A clear home, and everybody who has to do with it."""

    home: Unit
    agent: User
    landlord: User
    visitor: User
    """Walks through the home and finds the defect."""
    tied: User
    """An inspector whom the electrician pays."""
    second: User
    """An inspector without a hand in anything."""
    electrician: Contractor
    gas_firm: Contractor


@pytest.fixture
def town() -> Town:
    agency = make_agency("Latchford Lettings")
    agent = make_user(agency, name="Wren Latch")
    home = make_home(agency, agent, defects=())
    electrician = make_firm(agency, "Copper & Co")
    tied = make_user(agency, "inspector", name="Imre Fuse", competent=["bs7671"])
    electrician.people.set([tied])
    return Town(
        home=home,
        agent=agent,
        landlord=make_user(agency, "landlord", landlord=home.landlord, name="Aster Quill"),
        visitor=make_user(agency, "inspector", name="Ezra Plumb", competent=["bs7671"]),
        tied=tied,
        second=make_user(agency, "inspector", name="Odile Second", competent=["bs7671"]),
        electrician=electrician,
        gas_firm=make_firm(agency, "Blue Flame", "gas", gas=NEXT_YEAR),
    )


def marks(home: Unit) -> list[str]:
    return list(Clearance.objects.filter(unit=home, withdrawn_at=None).values_list("purpose", flat=True))


# --- the steps ---------------------------------------------------------------------------------------


def mark(office: Phone, town: Town) -> None:
    page = go(office, "home", town.home.pk)
    main(page).to_contain_text("Can be let today")
    page.get_by_role("button", name="Mark to let").click()
    main(page).to_contain_text("Marked to let")
    assert marks(town.home) == ["let"]


def visit(browsers: Browsers, town: Town) -> Defect:
    """On a phone: a C2 with its photo in the kitchen, nothing in every other room."""
    mine = browsers.of(town.visitor, PHONE, has_touch=True, is_mobile=True)
    page = go(mine, "home", town.home.pk)
    page.get_by_role("link", name="Begin a visit").click()
    browsers.look(page, "visits")
    page.get_by_role("button", name="Begin a visit").click()
    mine.says("All sent.")
    browsers.look(page, "a visit, begun")
    mine.found("Kitchen, ground floor", WHAT, "bs7671:C2", (photo("Behind the cooker switch")["buffer"],))
    for room in ROOMS:
        mine.nothing(f"{room}, ground floor")
    mine.says("All sent.")
    end = page.locator("#end")
    end.get_by_label("else", exact=False).fill("Cooker switch left off and labelled.")
    end.get_by_role("button", name="End the visit").click()
    expect(page.get_by_role("heading", name="What this visit says")).to_be_visible(timeout=PATIENCE)
    browsers.look(page, "a visit, ended")
    held = Visit.objects.get()
    assert (held.begun_by, held.ended_by, held.on) == (town.visitor, town.visitor, DAY)
    assert Look.objects.filter(visit=held, what="nothing").count() == len(ROOMS)
    defect = Defect.objects.get()
    assert (defect.code, defect.room.ref, defect.visit, defect.recorded_by) == (  # type: ignore[union-attr]
        "C2", "kitchen", held, town.visitor,
    )  # fmt: skip
    assert Evidence.objects.filter(defect=defect, stage="before", added_by=town.visitor).count() == 1
    return defect


def withdrawn(office: Phone, town: Town) -> None:
    page = go(office, "home", town.home.pk)
    main(page).to_contain_text("Cannot be let today")
    main(page).to_contain_text("withdrawn by itself")
    expect(page.get_by_role("button", name="Mark to let")).to_have_count(0)
    assert marks(town.home) == []


def send(browsers: Browsers, office: Phone, town: Town, defect: Defect) -> str:
    """Picked among the defects, sent to the electrician; the gas firm is refused. Gives the link in the mail."""
    page = go(office, "open_defects")
    browsers.look(page, "open defects")
    page.get_by_label(f"Pick {WHAT}").check()
    page.get_by_role("button", name="Send what is ticked").click()
    refused = page.locator(".card", has_text=str(town.gas_firm))
    expect(refused).to_contain_text("cannot be sent this")
    expect(refused).to_contain_text(
        re.compile("its trade is “Electrician”, which Blue Flame is not recorded")
    )
    expect(refused.get_by_role("radio")).to_have_count(0)
    page.get_by_label("Copper & Co").check()
    page.get_by_label("How to get in").fill("Key at number 4; ring first.")
    page.get_by_role("button", name="Look at the mail").click()
    page.get_by_role("heading", name="The mail as it would go").wait_for()
    browsers.look(page, "a new job, its mail")
    assert not Job.objects.exists()
    page.get_by_role("button", name="Send the job").click()
    page.get_by_role("heading", name="Job 1 for Copper & Co").wait_for()
    browsers.look(page, "a job, sent")
    mail = Message.objects.get(kind="job")
    assert mail.to_email == town.electrician.email
    assert WHAT in mail.text
    assert "Key at number 4" in mail.text
    kinds = [file.media_type.partition(";")[0] for file in mail.attachments.all()]
    assert {"application/pdf", "text/calendar"} <= set(kinds)
    return next(line for line in mail.text.splitlines() if "/j/" in line).strip()


def mend(browsers: Browsers, town: Town, link: str, defect: Defect) -> None:
    """By the link, on a phone without a log-in."""
    mine = browsers.of(None, PHONE, has_touch=True, is_mobile=True)
    page = mine.page
    page.goto(link.replace(settings.SNECK_SITE, mine.site))
    browsers.look(page, "the link")
    page.get_by_role("button", name="I take this job").click()
    main(page).to_contain_text("You took this job.")
    page.locator("[name=day]").fill((DAY + timedelta(days=1)).isoformat())
    page.locator("[name=start]").fill("9:00")
    page.get_by_role("button", name="Propose it").click()
    main(page).to_contain_text("Day proposed: 26 Nov 2026")
    card = page.locator(f"#defect-{defect.pk}")
    card.locator("summary", has_text="The work is done").click()
    card.get_by_label("Kind of work").select_option("cable_repair")
    card.get_by_role("button", name="Say that it is done").click()
    main(page).to_contain_text(f"Recorded as done: {WHAT}")
    expect(card).to_contain_text("(not here yet)")
    bring(
        card,
        [photo("New cable behind the switch")],
        says="Cable renewed from the switch to the cooker plate.",
    )
    main(page).to_contain_text("Kept: 1 piece of proof")
    bring(card, [certificate()], paper="minor_works", number="MW-7", dated=DAY.isoformat())
    expect(card).not_to_contain_text("(not here yet)")
    expect(card.locator("img")).to_have_count(2)
    browsers.look(page, "the link, done")
    defect.refresh_from_db()
    assert (defect.completed, defect.completed_for, defect.work) == (DAY, town.electrician, "cable_repair")
    assert Evidence.objects.filter(contractor=town.electrician, stage="after").count() == 2
    assert defect.confirmed is None
    assert marks(town.home) == []


def bring(card: Any, files: list[FilePayload], **said: str) -> None:
    form = card.locator("form[enctype]")
    if not form.is_visible():
        card.locator("summary", has_text="Send photos").click()
    form.get_by_label("Photos or papers").set_input_files(files)
    for name, value in said.items():
        field = form.locator(f"[name={name}]")
        if name == "paper":
            field.select_option(value)
        else:
            field.fill(value)
    form.get_by_role("button", name="Send it").click()


def landlord_adds(browsers: Browsers, town: Town, defect: Defect) -> None:
    mine = browsers.of(town.landlord, PHONE)
    page = go(mine, "defect", defect.pk)
    expect(page.locator("main a[href^='/jobs/']")).to_have_count(0)
    main(page).to_contain_text("Waits for a competent inspector")
    browsers.look(page, "a defect, for its landlord")
    page.get_by_role("link", name="Add proof").click()
    page.get_by_label("After the work").check()
    page.get_by_label("Photos or papers").set_input_files([photo("Cooker in use again")])
    page.get_by_label("What was done or seen").fill("I was there: the cooker works and the wall is cool.")
    page.get_by_role("button", name="Keep it").click()
    main(page).to_contain_text("proof for ‘Cooker cable")
    assert Evidence.objects.get(added_by=town.landlord).says.startswith("I was there")


def refused(browsers: Browsers, town: Town, who: User, defect: Defect, why: str) -> None:
    """Somebody with a hand in it finds no way to confirm, and the reason."""
    mine = browsers.of(who)
    page = go(mine, "proof")
    row = page.locator("tr", has_text=WHAT)
    expect(row).to_contain_text(why)
    expect(row.get_by_role("link", name="Look at the proof")).to_have_count(0)
    browsers.look(page, "proof, refused")
    page = go(mine, "defect", defect.pk)
    main(page).to_contain_text(f"You cannot confirm this: {why}")
    expect(page.locator("#confirm")).to_have_count(0)
    page.evaluate(
        """address => {
          const form = document.querySelector('form[method=post]').cloneNode(true);
          form.setAttribute('action', address);
          document.body.append(form);
          form.submit();
        }""",
        reverse("defect_confirm", args=[defect.pk]),
    )
    expect(page.get_by_role("alert")).to_contain_text(why)
    defect.refresh_from_db()
    assert defect.confirmed is None


def confirm(browsers: Browsers, town: Town, defect: Defect) -> None:
    mine = browsers.of(town.second, PHONE)
    page = go(mine, "proof")
    browsers.look(page, "proof")
    page.get_by_role("link", name=f"Look at the proof of {WHAT}").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(WHAT)
    browsers.look(page, "a defect, to confirm")
    if not page.locator("#confirm form").is_visible():
        page.locator("#confirm summary").click()
    page.get_by_role("button", name="Confirm that it is put right").click()
    main(page).to_contain_text("put right, confirmed 25 Nov 2026")
    browsers.look(page, "a defect, confirmed")
    defect.refresh_from_db()
    assert (defect.confirmed, defect.confirmed_by, defect.no_paper_why) == (DAY, town.second, "")


# --- the walks ---------------------------------------------------------------------------------------


def test_from_a_visit_to_a_proven_repair(browsers: Browsers, town: Town) -> None:
    office = browsers.of(town.agent)
    mark(office, town)
    defect = visit(browsers, town)
    withdrawn(office, town)
    link = send(browsers, office, town, defect)
    mend(browsers, town, link, defect)
    landlord_adds(browsers, town, defect)

    page = go(office, "defect", defect.pk)
    expect(page.locator("#confirm")).to_have_count(0)
    refused(
        browsers, town, town.tied, defect, "You work for the contractor who did this, or are paid by them"
    )
    mine = browsers.of(town.visitor, PHONE)
    go(mine, "evidence_add", defect.pk)
    mine.page.get_by_label("What was done or seen").fill("Looked at it again: dry and tight.")
    mine.page.get_by_role("button", name="Keep it").click()
    main(mine.page).to_contain_text("proof for ‘Cooker cable")
    refused(
        browsers, town, town.visitor, defect, "You brought the proof, so somebody else has to confirm it."
    )
    confirm(browsers, town, defect)

    page = go(office, "home", town.home.pk)
    main(page).to_contain_text("Can be let today")
    expect(page.locator("#papers")).to_contain_text("MW-7")
    main(page).not_to_contain_text("Marked to let on")
    assert marks(town.home) == []
    kept = Certificate.objects.get(unit=town.home, kind="minor_works")
    assert (kept.number, kept.issued or kept.inspected) == ("MW-7", DAY)
    assert kept.documents.get() == Evidence.objects.get(paper="minor_works").document
    clear = Message.objects.get(kind="home_clear")
    assert (clear.to_user, clear.unit) == (town.agent, town.home)
    page = go(office, "messages")
    main(page).to_contain_text("Nothing bars it any more")
    browsers.look(page, "messages")

    stranger = browsers.of(None, PHONE)
    stranger.page.goto(link.replace(settings.SNECK_SITE, stranger.site))
    main(stranger.page).to_contain_text("This link does not work")
    assert not JobLink.objects.filter(dead_at=None, job__closed_at=None).exists()
    page = go(office, "jobs")
    page.get_by_label("State").select_option("all")
    page.get_by_role("button", name="Show").click()
    main(page).to_contain_text("Copper & Co")
    browsers.look(page, "jobs")

    mark(office, town)
    page = go(office, "home_events", town.home.pk)
    for said in ("Visit begun", "withdrawn by itself", "Job 1 sent to Copper & Co", "Confirmed put right"):
        main(page).to_contain_text(said)
    assert events.verify(town.agent.agency) is None
    assert Event.objects.filter(verb="clearance.withdrawn").count() == 1


def test_a_danger_of_a_report_leaves_the_confirmations_that_the_law_asks_for(
    browsers: Browsers,
    town: Town,
) -> None:
    office = browsers.of(town.agent)
    facts = law.Certificate("", "eicr", "EI-2", inspected=DAY - timedelta(days=5), outcome="unsatisfactory")
    report = certificate_add(town.home.pk, facts, actor=town.agent, moment=at())
    page = go(office, "observations", report.pk)
    page.get_by_label("Observations").fill(f"C2\t{WHAT}\tkitchen\nC3\tOld board\thall")
    page.get_by_role("button", name="Check them").click()
    browsers.look(page, "observations, as read")
    page.get_by_role("button", name="Record 2 defects").click()
    defect = Defect.objects.get(code="C2", certificate=report)
    defect_claim_done(
        defect.pk, on=DAY, work="accessory_swap", actor=None, contractor=town.electrician, moment=at()
    )
    main(go(office, "home", town.home.pk)).to_contain_text("Cannot be let today")
    confirm(browsers, town, defect)
    page = go(office, "home", town.home.pk)
    told = "Give the council written confirmation of the electrical work"
    expect(page.locator("#duties")).to_contain_text(told)
    row = page.locator("#duties tr", has_text=told)
    expect(row).to_contain_text("23 Dec 2026")
    duties = Due.objects.filter(unit=town.home, is_duty=True, of=report.ref).values_list("party", "due")
    assert ("council", DAY + timedelta(days=28)) in duties
