"""Marks that ended by themselves are told once to whoever looks after the home or owns it, unless given again."""

from copy import deepcopy
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Defect
from notifications import causes
from notifications.models import Message, RefusedAddress, Telling
from notifications.reminders import at_once
from portfolio import gate
from portfolio.models import Clearance
from portfolio.standing import refresh
from tests.factories import DAY, at, make_agency
from tests.notifications.drafts import put
from tests.notifications.reminders.at_once_cases import danger_in, london, make_world, said

pytestmark = pytest.mark.django_db
LATER = DAY + timedelta(days=14)


@pytest.fixture(scope="module")
def stored(in_common):
    world = make_world()
    for home in world.homes:
        for purpose in ("let", "sale"):
            gate.mark(home.pk, purpose, actor=world.agent, moment=at())
    return world


@pytest.fixture
def world(stored):
    return deepcopy(stored)


def end(world, *numbers, moment=None):
    """Bar homes of these numbers by something that is not a danger told daily, so that their marks end."""
    homes = [world.homes[number] for number in numbers]
    defects = [danger_in(home, "C2", title="Loose socket") for home in homes]
    refresh([home.pk for home in homes], moment=moment or at())
    return defects


def test_it_is_told_once_to_agents_and_the_landlord_with_the_reason(world):
    end(world, 0, 2)
    messages = said(world)
    assert list(messages) == world.readers[:2]
    agent, landlord = messages.values()
    assert agent.subject == "4 marks withdrawn: Flat 1, 9 Tannery Row (to let and for sale) and more"
    assert landlord.subject == "No longer marked to let and for sale: Flat 1, 9 Tannery Row"
    assert landlord.text.startswith(
        "Do not offer this home any more until what bars it is seen to:\n\n- Flat 1"
    )
    assert "A defect coded C2 (electrical) (Loose socket) is open." in landlord.text
    assert "Flat 3" in agent.text
    assert "Flat 3" not in landlord.text + landlord.html
    assert said(world, london(hour=10)) == said(world, london(LATER)) == {}


def test_it_is_told_for_a_fortnight_after_an_outage_and_not_longer(world):
    end(world, 2)
    assert said(world, at(LATER)) == {}
    assert list(said(world, london(LATER, 11, 45))) == world.readers[:1]


def test_a_mark_taken_back_by_somebody_is_no_news(world):
    gate.unmark(world.homes[0].pk, "let", why="Sold.", actor=world.agent, moment=at())
    assert said(world) == {}


def test_what_is_marked_again_is_no_longer_told_and_its_message_is_not_sent(world):
    (defect,) = end(world, 2)
    (message,) = said(world).values()
    assert causes.why_not(message) == ""
    Defect.objects.filter(pk=defect.pk).update(confirmed=DAY)
    for purpose in ("let", "sale"):
        gate.mark(world.homes[2].pk, purpose, actor=world.agent, moment=at())
    assert causes.why_not(message) == "Every mark it speaks of was given again before it was sent."
    assert said(world, london(hour=10)) == {}
    end(world, 2)
    assert list(said(world, london(hour=11))) == world.readers[:1]  # these ended anew


def test_who_switched_it_off_is_told_nothing_until_it_is_on_again(world):
    telling = Telling.objects.create(user=world.agent, off=["withdrawn"])
    end(world, 0)
    assert list(said(world)) == world.readers[1:2]
    telling.off = []
    telling.save()
    assert list(said(world)) == world.readers[:1]


def test_a_refused_address_is_told_when_it_is_no_longer_refused(world):
    lost = RefusedAddress.objects.create(
        agency=world.agency, email=world.agent.email, since=at().at, said="No.", message=put(world.agency)
    )
    end(world, 2)
    assert said(world) == {}
    lost.ended_at = at().at
    lost.save()
    assert list(said(world)) == world.readers[:1]


def test_what_went_out_in_no_message_because_it_was_withdrawn_is_told_again(world):
    """The address was refused, or the person had no log-in, when its turn came."""
    end(world, 2)
    (message,) = said(world).values()
    why = {"state": "withdrawn", "next_try_at": None, "withdrawn_why": "Mail to it is refused."}
    Message.objects.filter(pk=message.pk).update(**why)
    assert list(said(world, london(hour=10))) == world.readers[:1]
    assert said(world, london(hour=11)) == {}


def test_what_was_refused_is_told_again_on_a_later_day_and_not_every_quarter_of_an_hour(world):
    end(world, 2)
    (message,) = said(world).values()
    Message.objects.filter(pk=message.pk).update(state="failed", next_try_at=None)
    assert said(world, london(hour=10)) == {}
    tomorrow = DAY + timedelta(days=1)
    (again,) = said(world, london(tomorrow)).values()
    assert again.to_user == world.agent
    assert said(world, london(tomorrow, hour=10)) == {}
    assert Message.objects.get(pk=message.pk).state == "withdrawn"  # or both could be sent


def test_a_danger_that_ends_marks_is_two_messages(world):
    danger_in(world.homes[0])
    refresh([world.homes[0].pk], moment=at())
    assert at_once.say(world.agency.pk, london()) == 4
    assert sorted(Message.objects.values_list("kind", flat=True)) == ["dangers"] * 2 + ["withdrawn"] * 2


def test_many_are_counted_and_cost_no_more_queries(world):
    end(world, 2)
    with CaptureQueriesContext(connection) as few:
        said(world)
    ended = Clearance.objects.filter(withdrawn_on=DAY).first()
    Clearance.objects.update(withdrawn_at=at().at, withdrawn_on=DAY, withdrawn_why="gas ran out")
    for number in range(60):
        home = deepcopy(world.homes[2])
        home.pk, home.ref, home._state.adding = None, f"copy-{number}", True
        home.save()
        ended.pk, ended.unit, ended._state.adding = None, home, True
        ended.save()
    with CaptureQueriesContext(connection) as many:
        message = said(world, london(hour=10))[world.readers[0]]
    assert "more marks:" in message.text
    assert message.text.count("/homes/") <= 52
    assert len(many) <= len(few) + 12  # the landlord's message, and one more page of what was said
    assert at_once.say(make_agency().pk, london()) == 0
