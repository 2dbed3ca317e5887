"""The pages of messages."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from notifications.models import Message
from tests.factories import at, make_agency, make_home, make_user, signed_in
from tests.notifications.drafts import put

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
LINK = "https://homes.example.org/j/secret/"


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def change(message: Message, **fields: Any) -> Message:
    Message.objects.filter(pk=message.pk).update(**fields)
    return message


SENT = {"state": "sent", "sent_at": at().at, "next_try_at": None, "secrets": "", "server_said": "250 Kept"}
FAILED = {"state": "failed", "next_try_at": None, "tries": 1, "server_said": "550 No such person"}


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Waiting; sent now"),
        ({"next_try_at": at().at + timedelta(minutes=5)}, "Waiting; sent in 5"),
        (
            {"put_off": 1, "next_try_at": at().at + timedelta(hours=4), "server_said": "451 Later"},
            "Put off; tried again in 4\xa0hours: 451 Later",
        ),
        ({"state": "sending", "next_try_at": None, "claimed_at": at().at, "claimed_by": "x"}, "Being sent"),
        (SENT, "Sent"),
        (FAILED, "Refused by the mail server: 550 No such person"),
        (FAILED | {"server_said": "451 Later"}, "Given up: 451 Later"),
        ({"state": "unclear", "lost": 1}, "Unclear whether it arrived; sent again now"),
        ({"state": "unclear", "lost": 3, "next_try_at": None}, "it is not sent again by itself"),
        (
            {"state": "withdrawn", "withdrawn_why": "Job 1 was closed.", "next_try_at": None},
            "Withdrawn: Job 1 was",
        ),
        ({"state": "held", "next_try_at": None}, "Held back"),
    ],
)
def test_each_state_is_said_in_words_on_the_list_and_on_the_page(agent, fields, said):
    message = change(put(agent.agency), **fields)
    client = signed_in(agent)
    for url in (reverse("messages"), reverse("message", args=[message.pk])):
        assert said in client.get(url).content.decode()


def test_the_list_says_what_to_whom_why_and_about_which_home_the_newest_first(agent):
    home = make_home(agent.agency, agent, label="Flat 7")
    change(put(agent.agency, subject="Older news"), made_at=at().at - timedelta(days=1))
    put(agent.agency, subject="Newer news", unit_id=home.pk, urgent=True)
    page = text(signed_in(agent).get(reverse("messages")))
    assert "2 messages, the newest first" in page
    assert page.index("Newer news") < page.index("Older news")
    for said in ("Ann Reader", "You asked for it.", "Flat 7", ", urgent", "25 Nov 2026, 12:00"):
        assert said in page


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", {"One", "Two", "Three"}),
        ("state=sent", {"One"}),
        ("state=trouble", {"Two"}),
        ("kind=job", {"Three"}),
        ("q=three", {"Three"}),
        ("q=ann+two", {"Two"}),
        ("q=nobody", set()),
    ],
)
def test_the_list_is_narrowed(agent, query, found):
    change(put(agent.agency, subject="One"), **SENT)
    change(put(agent.agency, subject="Two"), **FAILED)
    put(agent.agency, subject="Three", kind="job")
    page = text(signed_in(agent).get(f"{reverse('messages')}?{query}"))
    assert {name for name in ("One", "Two", "Three") if f">{name}<" in page} == found


def test_a_search_of_too_many_words_is_refused_with_a_sentence(agent):
    page = text(signed_in(agent).get(reverse("messages") + "?q=a+b+c+d+e+f+g+h+i"))
    assert "at most 8 words" in page


def test_long_lists_come_in_pages_with_as_many_queries_as_short_ones(agent, django_assert_max_num_queries):
    home = make_home(agent.agency, agent)
    client = signed_in(agent)
    for _ in range(60):
        put(agent.agency, unit_id=home.pk)
    with django_assert_max_num_queries(7):
        page = text(client.get(reverse("messages")))
    assert "Page 1 of 2" in page
    assert "Page 2 of 2" in text(client.get(reverse("messages") + "?page=2"))


def test_a_message_shows_what_it_says_but_never_a_link_by_which_others_act(agent):
    message = put(agent.agency, subject=f"See {LINK}", text=f"Answer: {LINK}\n<b>bold</b>\n", secrets=[LINK])
    client = signed_in(agent)
    page = text(client.get(reverse("message", args=[message.pk])))
    assert "Answer: (link)" in page
    assert "&lt;b&gt;bold&lt;/b&gt;" in page
    assert LINK not in page + text(client.get(reverse("messages")))


@pytest.mark.parametrize(
    ("fields", "offered"),
    [
        ({}, {"hold"}),
        (FAILED, {"again"}),
        (FAILED | {"blanked_at": at().at}, set()),
        ({"state": "unclear", "lost": 1}, {"again", "hold"}),
        ({"state": "held", "next_try_at": None}, {"release"}),
        (SENT, set()),
    ],
)
def test_only_what_will_work_is_offered(agent, fields, offered):
    message = change(put(agent.agency), **fields)
    page = text(signed_in(agent).get(reverse("message", args=[message.pk])))
    address = f"/messages/{message.pk}/"
    assert {what for what in ("again", "hold", "release") if f"{address}{what}/" in page} == offered


def test_holding_releasing_and_sending_again_are_done_and_recorded(agent):
    message = put(agent.agency)
    client = signed_in(agent)
    for name, said in (
        ("message_hold", "It is held back until you release it."),
        ("message_release", "It goes on its way."),
    ):
        page = text(client.post(reverse(name, args=[message.pk]), follow=True))
        assert said in page
    change(message, **FAILED)
    page = text(client.post(reverse("message_send_again", args=[message.pk]), follow=True))
    assert "It is sent again." in page
    assert page.count(f'<td data-label="By"><span>{agent}') == 3


def test_what_cannot_be_done_is_told(agent):
    message = change(put(agent.agency), **SENT)
    page = text(signed_in(agent).post(reverse("message_hold", args=[message.pk]), follow=True))
    assert "This message cannot be held back. Its state is: sent." in page
