"""What waits to be sent to a landlord is not sent once a home in it is another's; what is still theirs is told anew."""

from datetime import timedelta

import pytest

from inspections.services import tell
from notifications import causes
from notifications.models import Message
from notifications.reminders import at_once, digest
from portfolio import gate
from portfolio.models import Unit
from portfolio.standing import refresh
from tests.factories import DAY, at
from tests.notifications.reminders.at_once_cases import World, danger_in, london, make_world
from tests.notifications.reminders.digest_cases import owe

pytestmark = pytest.mark.django_db


@pytest.fixture
def world():
    return make_world()


def mark_ended(world: World) -> None:
    gate.mark(world.homes[0].pk, "let", actor=world.agent, moment=at())
    danger_in(world.homes[0], "C2")
    refresh([world.homes[0].pk], moment=at())
    at_once.say(world.agency.pk, london())


def paper_runs_out(world: World) -> None:
    owe(world.homes[0], 7)
    digest.say(world.agency.pk, london())


def danger_found(world: World) -> None:
    danger_in(world.homes[0])
    danger_in(world.homes[1])
    at_once.say(world.agency.pk, london())


def danger_recorded(world: World) -> None:
    tell.danger(danger_in(world.homes[0]), moment=at())
    tell.danger(danger_in(world.homes[1]), moment=at())


@pytest.mark.parametrize("write", [mark_ended, paper_runs_out, danger_found, danger_recorded])
@pytest.mark.parametrize("now_of", ["another", "nobody"])
def test_a_message_of_a_home_that_is_anothers_by_now_is_withdrawn(world, write, now_of):
    write(world)
    messages = list(Message.objects.all())
    assert {causes.why_not(message) for message in messages} == {""}
    assert any(message.to_user == world.landlord for message in messages)
    Unit.objects.filter(landlord=world.landlord.landlord).update(
        landlord=world.by_post if now_of == "another" else None
    )
    for message in Message.objects.all():
        said = causes.why_not(message)
        assert bool(said) is (message.to_user == world.landlord), said
    Unit.objects.filter(landlord=world.by_post).update(landlord=None)
    for message in Message.objects.filter(to_user=None):
        assert causes.why_not(message) == f"A home it speaks of is {message.to_name}’s no longer."


def test_what_is_still_theirs_is_told_with_the_next_digest(world):
    Unit.objects.filter(pk=world.homes[1].pk).update(landlord=world.landlord.landlord)
    for home in world.homes[:2]:
        owe(home, 7)
    digest.say(world.agency.pk, london())
    Unit.objects.filter(pk=world.homes[1].pk).update(landlord=None)
    (message,) = Message.objects.filter(to_user=world.landlord)
    why = {"state": "withdrawn", "next_try_at": None, "withdrawn_why": causes.why_not(message), "secrets": ""}
    Message.objects.filter(pk=message.pk).update(**why)
    digest.say(world.agency.pk, london(DAY + timedelta(days=1)))
    again = Message.objects.filter(to_user=world.landlord).latest("pk")
    assert again.said.count() == 1
    assert "Flat 2" not in again.text
