"""What an agent does with a message by hand."""

import pytest

from notifications import sending, services
from notifications.models import Message
from notifications.selectors import may_do
from notifications.services import NotPossible, message_hold, message_release, message_send_again
from portfolio.models import Event
from portfolio.services import events
from tests.factories import at, make_agency, make_user
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db
LINK = "https://homes.example.org/j/secret/"


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


@pytest.fixture
def refused(agent, office, now):
    """A message that the mail server refused once and will take next time."""
    office.script = lambda recipient, time: "rcpt 550 No such person" if time == 1 else ""
    message = put(agent.agency, text=f"{LINK}\n", secrets=[LINK])
    sending.send_waiting(now)
    return message


def state(message: Message) -> str:
    return Message.objects.get(pk=message.pk).state


def test_a_refused_message_is_sent_again_with_its_link_and_on_record(agent, refused, office, now):
    message_send_again(refused.pk, actor=agent, moment=now())
    sending.send_waiting(now)
    (mail,) = office.to(refused.to_email)
    assert LINK in mail.get_body(("plain",)).get_content()
    assert (mail["Message-ID"], state(refused)) == (refused.message_id, "sent")
    event = Event.objects.get(verb="message.sent_again")
    assert (event.actor, event.subject) == (agent, f"message:{refused.pk}")
    assert events.verify(agent.agency) is None


def test_a_message_whose_link_is_blanked_is_not_sent_again(agent, refused, now):
    now.on(days=31)
    sending.sweep(now())
    with pytest.raises(NotPossible, match="Send a new link"):
        message_send_again(refused.pk, actor=agent, moment=now())


def test_a_held_message_whose_link_is_blanked_is_not_released(agent, now):
    message = put(agent.agency, text=f"{LINK}\n", secrets=[LINK])
    message_hold(message.pk, actor=agent, moment=now())
    now.on(days=31)
    sending.sweep(now())
    with pytest.raises(NotPossible, match="Send a new link"):
        message_release(message.pk, actor=agent, moment=now())
    assert not may_do(Message.objects.get(pk=message.pk))["release"]


def test_a_message_of_which_too_many_answers_were_lost_can_be_sent_again(agent, office, now):
    office.script = lambda recipient, time: "data drop" if time <= 3 else ""
    message = put(agent.agency)
    for _ in range(4):
        sending.send_waiting(now)
        now.on(hours=1)
    assert state(message) == "unclear"
    message_send_again(message.pk, actor=agent, moment=now())
    sending.send_waiting(now)
    assert state(message) == "sent"


def test_a_held_message_waits_for_its_release(agent, office, now):
    message = put(agent.agency)
    message_hold(message.pk, actor=agent, moment=now())
    now.on(days=3)
    sending.sweep(now())
    sending.send_waiting(now)
    assert (state(message), office.came) == ("held", [])
    message_release(message.pk, actor=agent, moment=now())
    sending.send_waiting(now)
    assert state(message) == "sent"
    assert [e.verb for e in Event.objects.order_by("seq")] == ["message.held", "message.released"]


def test_a_message_read_before_it_was_held_is_not_claimed(agent, now):
    message = put(agent.agency)
    message_hold(message.pk, actor=agent, moment=now())
    assert not sending.claim(message, at=now().at)


@pytest.mark.parametrize(
    ("service", "said"),
    [
        (services.message_send_again, "cannot be sent again. Its state is: sent"),
        (services.message_hold, "cannot be held back. Its state is: sent"),
        (services.message_release, "cannot be released. Its state is: sent"),
    ],
)
def test_a_sent_message_is_left_as_it_is(agent, office, now, service, said):
    message = put(agent.agency)
    sending.send_waiting(now)
    with pytest.raises(NotPossible, match=said):
        service(message.pk, actor=agent, moment=now())
    assert (state(message), Event.objects.count()) == ("sent", 0)


def test_nobody_else_decides_about_messages(agent):
    message = put(agent.agency)
    with pytest.raises(NotPossible, match="Only a letting agent"):
        message_hold(message.pk, actor=make_user(agent.agency, "inspector"), moment=at())
    with pytest.raises(Message.DoesNotExist):
        message_hold(message.pk, actor=make_user(make_agency()), moment=at())
