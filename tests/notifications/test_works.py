"""How the works of telling are: the clock, the queue, what waits, and the mail server."""

import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from notifications import asking
from notifications.asking import Answered
from notifications.models import LifeSign, Message
from notifications.works import Part, parts
from portfolio.celery import app
from portfolio.demo.programs import free_port
from tests.factories import at, make_agency, make_user, signed_in
from tests.notifications.drafts import put
from tests.notifications.post_office import Office
from tests.processes import wait_until

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture
def agent():
    return make_user(make_agency("Latchford Lettings"))


@pytest.fixture
def silent() -> Iterator[int]:
    """A port where somebody picks up and says nothing, ever."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(5)
        yield listening.getsockname()[1]


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def seen(part: str, says: str = "", **ago: float) -> None:
    LifeSign.objects.update_or_create(part=part, defaults={"at": at().at - timedelta(**ago), "says": says})


def part(agent: Any, name: str) -> Part:
    (found,) = [one for one in parts(agent.agency_id, at(), lambda: Answered(True, "")) if one.name == name]
    return found


def change(message: Message, **fields: Any) -> Message:
    Message.objects.filter(pk=message.pk).update(**fields)
    return message


@pytest.mark.parametrize(
    ("ago", "word", "shape", "says"),
    [
        (None, "Never seen", "not_met", "No sign was seen since this was set up."),
        ({"seconds": 59}, "Running", "met", "Last sign less than a minute ago (11:59)"),
        ({"minutes": 3}, "Running", "met", "Last sign 3\xa0minutes ago (11:57)"),
        ({"minutes": 3, "seconds": 1}, "Late", "warn", "Last sign 3\xa0minutes ago"),
        ({"minutes": 15}, "Late", "warn", "15\xa0minutes ago"),
        ({"minutes": 15, "seconds": 1}, "Stopped", "not_met", "Nobody is reminded while it stands."),
        ({"days": 7}, "Stopped", "not_met", "1\xa0week ago (18 Nov 2026, 12:00)"),
    ],
)
def test_the_clock_is_judged_by_when_it_was_last_seen(agent, ago, word, shape, says):
    if ago is not None:
        seen("beat", **ago)
    clock = part(agent, "The clock and a worker")
    assert (clock.word, clock.shape) == (word, shape)
    assert says in clock.says
    assert bool(clock.cure) == (shape != "met")


@pytest.mark.parametrize(
    ("taken", "trouble", "word", "says"),
    [
        (None, None, "Not known", "It has taken no message yet."),
        ({"minutes": 5}, None, "Takes mail", "It last took a message 5\xa0minutes ago (11:55)."),
        ({"minutes": 5}, {"minutes": 6}, "Takes mail", "5\xa0minutes ago"),
        ({"minutes": 6}, {"minutes": 5}, "Trouble", "Trouble 5\xa0minutes ago (11:55): It cannot be reached"),
        (None, {"minutes": 5}, "Trouble", "It has taken no message yet. Trouble"),
    ],
)
def test_the_mail_server_is_judged_by_what_came_last(agent, taken, trouble, word, says):
    if taken:
        seen("mail_taken", **taken)
    if trouble:
        seen("mail_trouble", "It cannot be reached", **trouble)
    server = part(agent, "The mail server")
    assert server.word == word
    assert says in server.says


@pytest.mark.parametrize(
    ("minutes", "word", "shape"),
    [(-1, "None", "met"), (0, "Soon", "met"), (10, "Soon", "met"), (11, "Stuck", "not_met")],
)
def test_the_oldest_message_that_is_due_shows_whether_mail_is_stuck(agent, minutes, word, shape):
    change(put(make_agency()), next_try_at=at().at - timedelta(days=1))
    change(put(agent.agency), state="held", next_try_at=None)
    oldest = change(put(agent.agency), next_try_at=at().at - timedelta(minutes=minutes))
    change(put(agent.agency), next_try_at=at().at - timedelta(minutes=min(minutes, 0)))
    found = part(agent, "The oldest message due")
    assert (found.word, found.shape) == (word, shape)
    assert found.url == (reverse("message", args=[oldest.pk]) if minutes >= 0 else "")


def test_what_waits_and_what_needs_somebody_is_counted_for_the_agency_alone(agent):
    for agency, number in ((agent.agency, 2), (make_agency(), 5)):
        for state in ("waiting", "failed", "unclear", "held"):
            for _ in range(number):
                change(put(agency), state=state, next_try_at=at().at if state == "waiting" else None)
    change(put(agent.agency), state="failed", next_try_at=None, made_at=at().at - timedelta(days=31))
    for name, state in (
        ("Waiting to be sent", "waiting"),
        ("Refused", "failed"),
        ("Unclear whether it arrived", "unclear"),
        ("Held back", "held"),
    ):
        found = part(agent, name)
        assert found.word == "2"
        assert found.url == f"{reverse('messages')}?state={state}"
        assert bool(found.cure) == (state != "waiting")


def test_when_nothing_waits_every_count_says_none(agent):
    for name in ("Waiting to be sent", "Refused", "Unclear whether it arrived", "Held back"):
        assert (part(agent, name).word, part(agent, name).shape) == ("None", "met")


def test_the_page_has_a_word_and_a_cure_for_each_and_asks_little(agent):
    for _ in range(30):
        change(put(agent.agency), state="failed", next_try_at=None)
    client = signed_in(agent)
    client.get(reverse("works"))
    with CaptureQueriesContext(connection) as queries:
        page = text(client.get(reverse("works")))
    assert len(queries) <= 6
    for said in (
        "Never seen",
        "Start one celery beat",
        "Answers",
        "30 messages in the last 30 days",
        "12:00",
    ):
        assert said in page


# --- The queue, tried for real.


@pytest.fixture
def queue_at() -> Iterator[Callable[[str], None]]:
    """Has the queue looked for at another address until the test is over."""
    kept = {name: app.conf[name] for name in ("broker_url", "broker_transport_options")}
    yield lambda url: app.conf.update(broker_url=url, broker_transport_options={"visibility_timeout": 300})
    app.conf.update(kept)


@pytest.mark.parametrize("how", ["nobody there", "no such socket", "silent"])
def test_a_queue_that_is_away_or_silent_is_said_to_be_and_does_not_hold_the_page(
    agent, queue_at, silent, tmp_path, how
):
    port = {"nobody there": free_port(), "silent": silent}.get(how)
    queue_at(f"redis://127.0.0.1:{port}/0" if port else f"redis+socket://{tmp_path}/no.sock")
    client = signed_in(agent)
    began = time.monotonic()
    page = text(client.get(reverse("works")))
    assert time.monotonic() - began < asking.BROKER_SECONDS + 1
    assert "Does not answer" in page
    assert "Start Redis, or put REDIS_URL right." in page


def test_a_queue_that_is_there_answers(queue_at, tmp_path):
    file = Path(tmp_path) / "redis.sock"
    server = subprocess.Popen(
        ["redis-server", "--port", "0", "--unixsocket", str(file), "--save", ""], stdout=subprocess.DEVNULL
    )
    try:
        wait_until(file.exists)
        queue_at(f"redis+socket://{file}")
        assert asking.broker() == Answered(True, "It answers.")
    finally:
        server.terminate()
        server.wait(10)
    assert not asking.broker().well


def test_what_hangs_without_end_is_left_to_hang_alone():
    began = time.monotonic()
    answered = asking.within(0.1, lambda: time.sleep(5) or Answered(True, "too late"))
    assert time.monotonic() - began < 2
    assert answered == Answered(False, "No answer within 0.1 seconds.")


# --- The mail server, asked for real.


def test_the_mail_server_is_asked_by_a_button_and_nothing_is_sent(agent, office: Office):
    page = text(signed_in(agent).post(reverse("works"), follow=True))
    assert "The mail server answers: 250" in page
    assert office.connections == 1
    assert office.came == []


def test_a_mail_server_that_is_away_or_silent_is_said_to_be_in_time(agent, settings, silent):
    settings.EMAIL_TIMEOUT = 10
    settings.EMAIL_HOST = "127.0.0.1"
    for port, said in ((free_port(), "cannot be reached"), (silent, "No answer within 3 seconds.")):
        settings.EMAIL_PORT = port
        began = time.monotonic()
        answered = asking.mail_server()
        assert time.monotonic() - began < asking.MAIL_SECONDS + 1
        assert not answered.well
        assert said in answered.said


def test_it_is_asked_once_in_a_while_by_each_agency(agent, office: Office):
    client = signed_in(agent)
    client.post(reverse("works"))
    assert "It was asked a moment ago." in text(client.post(reverse("works"), follow=True))
    assert office.connections == 1
    signed_in(make_user(make_agency())).post(reverse("works"))
    assert office.connections == 2
