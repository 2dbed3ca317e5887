"""Lead times as an agency sets them."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from notifications import leads
from notifications.models import LeadTime
from notifications.reminders.lead_times import defaults, leads_of
from notifications.services import NotPossible
from portfolio.models import Event
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_user, signed_in

USUAL_GAS = (60, 30, 14, 7, 1, 0)


@pytest.fixture
def agent(db):
    return make_user(make_agency("Latchford Lettings"))


def put_down(user: Any, **changes: Any) -> list[str]:
    return leads.lead_times_set(changes, actor=user, moment=at())


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


@pytest.mark.parametrize(
    ("said", "days"),
    [
        ("90, 60, 30, 14, 7, 1, 0", (90, 60, 30, 14, 7, 1, 0)),
        ("0", (0,)),
        (" 7;14  30,", (30, 14, 7)),
        ("30, 30, 007", (30, 7)),
        ("400", (400,)),
    ],
)
def test_days_are_read_as_people_write_them_the_most_first_each_once(said, days):
    assert leads.parsed(said) == days


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("30 days", "“days” is no number of days"),
        ("-7", "“-7” is no number of days"),
        ("7.5", "“7.5” is no number of days"),
        ("²", "“²” is no number of days"),
        ("401", "401 days is too early: 400 is the most"),
        ("9" * 5000, "is too early"),
        (", ;", "Write at least one number of days"),
        (" ".join(map(str, range(13))), "These are 13 reminders of one thing: 12 are the most"),
    ],
)
def test_days_that_cannot_be_are_refused_with_the_cure(said, why):
    with pytest.raises(ValidationError, match=why):
        leads.parsed(said)


@given(st.sets(st.integers(0, leads.MOST_DAYS), min_size=1, max_size=leads.MOST_TIMES))
def test_whatever_may_be_set_is_read_back_the_same(days):
    kept = tuple(sorted(days, reverse=True))
    assert leads.parsed(leads.as_text(kept)) == kept


def test_everything_that_is_reminded_of_has_lead_times_in_words():
    assert set(leads.kinds()) <= set(defaults())
    assert {"gas_safety_record", "eicr", "epc", "home_report", "duty", "alarms", "other"} <= set(
        leads.kinds()
    )
    assert len(set(leads.kinds().values())) == len(leads.kinds())


def test_an_agency_sets_days_for_itself_alone_and_goes_back_to_the_usual_ones(agent):
    other = make_agency()
    assert put_down(agent, gas_safety_record=(45, 0)) == [
        "Lead times of Gas safety record: 45, 0 days before, no longer 60, 30, 14, 7, 1, 0."
    ]
    assert leads_of(agent.agency_id)["gas_safety_record"] == (45, 0)
    assert leads_of(other.pk)["gas_safety_record"] == USUAL_GAS
    assert put_down(agent, gas_safety_record=(45, 0)) == []
    assert put_down(agent, gas_safety_record=None) == [
        "Lead times of Gas safety record: 60, 30, 14, 7, 1, 0 days before (the usual ones), no longer 45, 0."
    ]
    assert not LeadTime.objects.exists()
    assert Event.objects.filter(verb="lead_times.changed", actor=agent).count() == 2
    assert verify(agent.agency) is None


def test_setting_the_usual_days_is_not_kept_as_something_of_ones_own(agent):
    assert put_down(agent, gas_safety_record=USUAL_GAS) == []
    assert not LeadTime.objects.exists()


@pytest.mark.parametrize(
    "changes", [{"selective_licence": (1,)}, {"nothing": None}, {"eicr": ()}, {"eicr": (401,)}]
)
def test_what_cannot_be_is_refused_whole(agent, changes):
    with pytest.raises(ValidationError):
        put_down(agent, epc=(5,), **changes)
    assert not LeadTime.objects.exists()


@pytest.mark.parametrize("role", ["landlord", "inspector"])
def test_only_an_agent_sets_them(agent, role):
    with pytest.raises(NotPossible, match="Only a letting agent sets lead times"):
        put_down(make_user(agent.agency, role), eicr=(5,))


def boxes(agency_id: int, **typed: str) -> dict[str, str]:
    """The form as it was shown, with what is typed over it."""
    own = {kind: leads.as_text(days) for kind, days in leads.own_of(agency_id).items()}
    shown = {kind: own.get(kind, "") for kind in leads.kinds()}
    return shown | {f"initial-{kind}": value for kind, value in shown.items()} | typed


@pytest.mark.usefixtures("noon")
def test_the_page_shows_the_usual_days_and_keeps_what_is_typed(agent):
    client = signed_in(agent)
    page = text(client.get(reverse("lead_times")))
    assert "Usual: 60, 30, 14, 7, 1, 0" in page
    answer = client.post(reverse("lead_times"), boxes(agent.agency_id, eicr="7, 120", duty="5"), follow=True)
    assert "Kept. It holds from the next digest on." in text(answer)
    assert leads.own_of(agent.agency_id) == {"eicr": (120, 7), "duty": (5,)}
    assert 'value="120, 7"' in text(answer)
    client.post(reverse("lead_times"), boxes(agent.agency_id, eicr=""))
    assert leads.own_of(agent.agency_id) == {"duty": (5,)}
    assert "Kept." in text(client.post(reverse("lead_times"), {"usual": "1"}, follow=True))
    assert leads.own_of(agent.agency_id) == {}


@pytest.mark.usefixtures("noon")
def test_a_page_that_another_agent_has_overtaken_changes_only_what_was_changed_in_it(agent):
    shown = boxes(agent.agency_id)
    put_down(agent, eicr=(40,))
    signed_in(agent).post(reverse("lead_times"), shown | {"epc": "20"})
    assert leads.own_of(agent.agency_id) == {"eicr": (40,), "epc": (20,)}


@pytest.mark.usefixtures("noon")
def test_the_page_names_the_box_that_is_wrong_and_keeps_nothing(agent):
    page = text(signed_in(agent).post(reverse("lead_times"), boxes(agent.agency_id, eicr="soon", epc="20")))
    assert "Not yet: 1 thing to put right" in page
    assert "“soon” is no number of days" in page
    assert 'value="soon"' in page
    assert leads.own_of(agent.agency_id) == {}
