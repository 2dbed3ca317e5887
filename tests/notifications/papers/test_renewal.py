"""A contractor is asked to renew what runs out: the right one, once in a week, and no longer than there is cause."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Contractor
from notifications import sending
from notifications.models import Message
from notifications.papers.renewal import choices, renewal_ask, renewals_of
from portfolio.law import model as law
from portfolio.models import Event, Unit
from portfolio.selectors.home import renewals_asked
from portfolio.services.certificates import certificate_add
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.inspections.job_cases import make_firm
from tests.notifications.papers.cases import make_gas_firm

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
GAS, WIRING = "gb_gas_check", "eng_eicr"
DUE = date(2027, 5, 20)


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"), name="Ann Agent")


@pytest.fixture
def home(agent):
    return make_home(agent.agency, label="Flat 2")


@pytest.fixture
def firm(agent):
    return make_gas_firm(agent.agency)


def asks(home, firm, actor, *, code=GAS, due=DUE, moment=None, **more):
    return renewal_ask(home.pk, code, due, firm.pk, actor=actor, moment=moment or at(), **more)


def renewal(home, code=GAS, day=DAY):
    return next(one for one in renewals_of(home, day) if one.code == code)


def test_the_mail_says_what_by_when_and_from_which_day_the_year_is_kept(agent, home, firm, office, now):
    message = asks(home, firm, agent, days="Weekdays from nine", access_notes="Key at the office.")
    assert message.key == f"renewal_request:{home.pk}:{GAS}:2027-05-20:{firm.pk}"
    sending.send_waiting(now)
    (mail,) = office.to(firm.email)
    assert mail["Reply-To"] == agent.email
    assert mail["Subject"].strip().startswith("Please come by 20 May 2027: Gas safety record")
    text = mail.get_body(("plain",)).get_content().replace("\r\n", "\n")
    assert text.startswith(
        "Answer this message with a day on which you can come, at the latest 20 May 2027.\n"
    )
    assert "A check done from 21 March 2027 to 20 May 2027 keeps 20 May as its day of the year." in text
    assert "Days that suit: Weekdays from nine" in text
    assert "Key at the office." in text
    assert "21 March 2027" in mail.get_body(("html",)).get_content()


def test_the_record_and_the_page_of_the_home_say_who_was_asked_and_when(agent, home, firm):
    message = asks(home, firm, agent)
    line = Event.objects.get(unit=home, verb="renewal.asked")
    assert (line.actor, line.subject) == (agent, f"message:{message.pk}")
    assert line.says == (
        "Blue Flame was asked to renew: Landlord's gas safety check, last good day 20 May 2027 "
        f"(message {message.pk})."
    )
    assert renewals_asked(home) == {(GAS, "2027-05-20"): "asked Blue Flame on 25 November 2026"}


@pytest.mark.parametrize(("days", "again"), [(0, False), (6, False), (7, True), (8, True)])
def test_the_same_contractor_is_asked_again_after_a_week_at_the_earliest(agent, home, firm, days, again):
    first = asks(home, firm, agent)
    later = at(DAY + timedelta(days=days))
    if not again:
        with pytest.raises(
            ValidationError, match="was asked on 25 November 2026.*again from 2 December 2026"
        ):
            asks(home, firm, agent, moment=later)
        return
    assert asks(home, firm, agent, moment=later).key == f"{first.key}:2"


def test_another_contractor_may_be_asked_at_once_and_so_may_one_whose_mail_was_refused(agent, home, firm):
    first = asks(home, firm, agent)
    asks(home, make_gas_firm(agent.agency, "Second Flame"), agent)
    Message.objects.filter(pk=first.pk).update(state="failed", next_try_at=None)
    assert asks(home, firm, agent).key.endswith(":2")


@pytest.mark.parametrize(
    ("until", "may"), [(DAY - timedelta(1), False), (DAY, True), (DAY + timedelta(1), True), (None, False)]
)
def test_gas_needs_a_gas_registration_that_holds(agent, home, until, may):
    firm = make_gas_firm(agent.agency, until=until)
    (choice,) = choices(home, renewal(home), actor=agent, moment=at())
    assert (not choice.why_not) is may
    if not may:
        with pytest.raises(ValidationError, match="gas work"):
            asks(home, firm, agent)


def test_an_electrical_report_needs_an_electrician_of_a_scheme_and_an_epc_anybody(agent, home, firm):
    sparks = make_firm(agent.agency)
    wiring = {
        one.contractor: one.why_not for one in choices(home, renewal(home, WIRING), actor=agent, moment=at())
    }
    assert wiring[sparks] == []
    assert "“Electrician”" in wiring[firm][0]
    energy = choices(home, renewal(home, "ew_epc"), actor=agent, moment=at())
    assert not any(one.why_not for one in energy)
    sparks.ended = DAY
    sparks.save()
    with pytest.raises(ValidationError, match="no longer used since"):
        asks(home, sparks, agent, code=WIRING, due=renewal(home, WIRING).due)


def test_what_has_run_out_can_be_asked_for_and_no_year_is_kept_by_it(agent, home, firm):
    late = renewal(home, day=DUE + timedelta(days=1))
    assert (late.lapsed, late.keeps_from, late.due) == (True, None, DUE)
    assert renewal(home, day=DUE).keeps_from == date(2027, 3, 21)
    message = asks(home, firm, agent, moment=at(DUE))
    assert message.subject.startswith("Please come by 20 May 2027")


def test_in_northern_ireland_no_early_check_keeps_the_day(agent, firm):
    home = make_home(agent.agency, ref="ni")
    type(home.building).objects.filter(pk=home.building_id).update(nation="northern_ireland")
    assert renewal(home, "ni_gas_check").keeps_from is None


def test_licences_and_house_rules_are_asked_of_no_contractor(home):
    codes = {one.code for one in renewals_of(home, DAY)}
    assert codes >= {GAS, WIRING, "ew_epc"}
    assert not {
        code for code in codes if code.startswith("house_") or "licence" in code or "registration" in code
    }


def test_what_was_renewed_before_its_turn_is_not_asked_for(agent, home, firm, office, now):
    message = asks(home, firm, agent)
    new = law.Certificate(
        "g9", "gas_safety_record", "G-9", inspected=DAY, appliances=(law.ApplianceCheck("boiler", "safe"),)
    )
    certificate_add(home.pk, new, actor=agent, moment=at())
    sending.send_waiting(now)
    kept = Message.objects.get(pk=message.pk)
    assert (kept.state, kept.withdrawn_why) == (
        "withdrawn",
        "It was renewed meanwhile: its last good day is now 25 November 2027.",
    )
    with pytest.raises(ValidationError, match="changed meanwhile"):
        asks(home, firm, agent)


def test_a_contractor_no_longer_used_is_not_written_to(agent, home, firm, office, now):
    message = asks(home, firm, agent)
    Contractor.objects.filter(pk=firm.pk).update(ended=DAY)
    sending.send_waiting(now)
    assert Message.objects.get(pk=message.pk).withdrawn_why == "Blue Flame is no longer used."


@pytest.mark.parametrize("who", ["landlord", "inspector", "stranger"])
def test_nobody_else_asks(agent, home, firm, who):
    other = make_user(make_agency()) if who == "stranger" else make_user(
        agent.agency, who, **({"landlord": home.landlord} if who == "landlord" else {})
    )  # fmt: skip
    with pytest.raises(Unit.DoesNotExist):
        asks(home, firm, other)


def test_another_agencys_contractor_cannot_be_asked(agent, home):
    with pytest.raises(Contractor.DoesNotExist):
        asks(home, make_gas_firm(make_agency(), "Elsewhere"), agent)


def test_queries_do_not_grow_with_contractors(agent, home, firm):
    counts = []
    for number in (1, 6):
        while Contractor.objects.count() < number:
            make_gas_firm(agent.agency, f"Firm {Contractor.objects.count()}")
        with CaptureQueriesContext(connection) as asked:
            choices(home, renewal(home), actor=agent, moment=at())
        counts.append(len(asked))
    assert counts[0] == counts[1]
