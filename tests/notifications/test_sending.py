"""Claimed, sent, recorded: against a real mail server on this machine."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.conf import settings as project
from django.db import IntegrityError, transaction

from notifications import outbox, sending
from notifications.models import Message
from notifications.outbox import File
from notifications.transport import Answer, Outcome
from notifications.words import HIDDEN
from portfolio.demo.programs import free_port
from tests.factories import at, make_agency, make_user
from tests.notifications.drafts import put

pytestmark = pytest.mark.django_db
LINK = "https://homes.example.org/j/secret?a=1&b=2"


@pytest.fixture
def agency() -> Iterator[object]:
    return make_agency("Latchford Lettings")


def again(message: Message) -> Message:
    return Message.objects.get(pk=message.pk)


def test_what_is_due_arrives_once_and_is_recorded(agency, office, now):
    message = put(agency)
    assert sending.send_waiting(now) is False
    (mail,) = office.to(message.to_email)
    kept = again(message)
    assert (kept.state, kept.sent_at, kept.server_said, kept.tries) == ("sent", now().at, "250 Kept", 1)
    assert mail["Message-ID"] == message.message_id
    sending.send_waiting(now)
    assert len(office.came) == 1


def test_a_batch_goes_over_one_connection_urgent_ones_first(agency, office, now):
    for urgent in (False, True, False, True):
        put(agency, urgent=urgent, subject="Now" if urgent else "Later")
    sending.send_waiting(now)
    assert [mail["Subject"] for _, mail in office.came] == ["Now", "Now", "Later", "Later"]
    assert office.connections == 1


def test_a_batch_that_is_full_says_that_more_is_left(agency, office, now):
    for _ in range(3):
        put(agency)
    assert sending.send_waiting(now, most=2) is True
    assert sending.send_waiting(now, most=2) is False
    assert len(office.came) == 3


@pytest.mark.parametrize("answer", ["rcpt 451 Try later", "data 452 Full", "rcpt 450 Wait"])
def test_what_is_put_off_is_tried_again_after_growing_delays(agency, office, now, answer):
    office.script = lambda recipient, time: answer if time <= 2 else ""
    message = put(agency)
    for seconds in project.NOTIFICATION_DELAYS[:2]:
        sending.send_waiting(now)
        kept = again(message)
        assert (kept.state, kept.next_try_at) == ("waiting", now().at + timedelta(seconds=seconds))
        assert kept.server_said == answer.partition(" ")[2]
        now.on(seconds=seconds - 1)
        sending.send_waiting(now)
        assert again(message).tries == kept.tries
        now.on(seconds=1)
    sending.send_waiting(now)
    assert again(message).state == "sent"
    assert len(office.to(message.to_email)) == 1


def test_what_is_put_off_for_ever_is_given_up_after_five_days(agency, office, now):
    office.script = lambda recipient, time: "rcpt 451 Never now"
    message = put(agency)
    while (kept := again(message)).state == "waiting":
        now.at = kept.next_try_at
        sending.send_waiting(now)
    assert (kept.state, kept.server_said) == ("failed", "451 Never now")
    assert timedelta(days=4, hours=12) < now().at - message.made_at < timedelta(days=5, hours=12)


@pytest.mark.parametrize("answer", ["rcpt 550 No such person", "data 554 Not wanted", "rcpt 552 Too much"])
def test_what_is_refused_for_good_is_not_tried_again(agency, office, now, answer):
    office.script = lambda recipient, time: answer
    message, other = put(agency), put(agency, urgent=False)
    office.script = lambda recipient, time: answer if recipient == message.to_email else ""
    sending.send_waiting(now)
    kept = again(message)
    assert (kept.state, kept.server_said, kept.next_try_at) == ("failed", answer.partition(" ")[2], None)
    assert again(other).state == "sent"
    now.on(days=30)
    sending.sweep(now())
    sending.send_waiting(now)
    assert again(message).tries == 1


@pytest.mark.parametrize("answer", ["rcpt drop", "rcpt hang", "rcpt 421 Closing"])
def test_a_connection_that_breaks_before_the_message_is_handed_over_is_no_doubt(agency, office, now, answer):
    message, other = put(agency), put(agency)
    office.script = lambda recipient, time: answer if recipient == message.to_email and time < 3 else ""
    for _ in range(3):
        sending.send_waiting(now)
        now.on(minutes=20)
    assert (again(message).state, again(message).lost) == ("sent", 0)
    assert again(other).tries == 1
    assert len(office.to(message.to_email)) == len(office.to(other.to_email)) == 1


def test_a_used_connection_that_the_server_ended_costs_no_try(agency, office, now):
    first, second = put(agency), put(agency)
    office.script = lambda recipient, time: (
        "rcpt 421 Enough for now" if recipient == second.to_email and time == 1 else ""
    )
    sending.send_waiting(now)
    assert [again(one).state for one in (first, second)] == ["sent", "sent"]
    assert (again(second).put_off, office.connections) == (0, 2)


@pytest.mark.parametrize("answer", ["data drop", "data hang"])
def test_a_lost_answer_is_unclear_and_sent_again_under_the_same_message_id(agency, office, now, answer):
    message = put(agency, secrets=[LINK], text=f"Answer here: {LINK}\n")
    office.script = lambda recipient, time: answer if time == 1 else ""
    sending.send_waiting(now)
    kept = again(message)
    assert (kept.state, kept.lost, kept.secrets) == ("unclear", 1, LINK)
    assert kept.next_try_at == now().at + timedelta(seconds=project.NOTIFICATION_UNCLEAR_SECONDS)
    now.on(seconds=project.NOTIFICATION_UNCLEAR_SECONDS - 1)
    sending.send_waiting(now)
    assert len(office.came) == 1
    now.on(seconds=1)
    sending.send_waiting(now)
    one, two = office.to(message.to_email)
    assert one["Message-ID"] == two["Message-ID"] == message.message_id
    assert one.as_bytes() == two.as_bytes()
    assert (again(message).state, again(message).lost) == ("sent", 1)


def test_answers_lost_too_often_wait_for_a_person(agency, office, now):
    office.script = lambda recipient, time: "data drop"
    message = put(agency)
    for _ in range(6):
        sending.send_waiting(now)
        now.on(days=1)
    kept = again(message)
    assert (kept.state, kept.next_try_at) == ("unclear", None)
    assert len(office.came) == project.NOTIFICATION_MOST_LOST


def test_a_put_off_message_that_may_have_arrived_before_stays_unclear(agency, office, now):
    message = put(agency)
    office.script = lambda recipient, time: {1: "data drop", 2: "rcpt 451 Later"}.get(time, "")
    for expected in ("unclear", "unclear", "sent"):
        sending.send_waiting(now)
        assert again(message).state == expected
        now.on(hours=1)


def test_a_mail_server_that_is_away_leaves_everything_as_it_was(agency, settings, now):
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port()
    message = put(agency)
    assert sending.send_waiting(now) is False
    kept = again(message)
    assert (kept.state, kept.tries, kept.next_try_at) == ("waiting", 0, message.next_try_at)


def test_a_server_that_breaks_every_connection_is_left_alone(agency, office, now):
    office.script = lambda recipient, time: "rcpt drop"
    for _ in range(6):
        put(agency)
    assert sending.send_waiting(now) is False
    assert sorted(Message.objects.values_list("put_off", flat=True)) == [0, 0, 0, 1, 1, 1]


def test_what_a_dead_process_held_is_unclear_and_sent_again(agency, office, now):
    message = put(agency)
    assert sending.claim(again(message), at=now().at)
    now.on(seconds=project.NOTIFICATION_CLAIM_SECONDS)
    assert sending.sweep(now()) == 0
    now.on(seconds=1)
    assert sending.sweep(now()) == 1
    assert sending.sweep(now()) == 0
    assert (again(message).state, again(message).lost) == ("unclear", 1)
    sending.send_waiting(now)
    assert again(message).state == "sent"


def test_a_slow_process_that_was_thought_dead_still_records_its_answer(agency, now):
    message = put(agency)
    slow = again(message)
    assert sending.claim(slow, at=now().at)
    now.on(hours=1)
    sending.sweep(now())
    assert sending.record(slow, Answer(Outcome.TAKEN, "250 Kept"), at=now().at)
    assert again(message).state == "sent"


def test_an_answer_to_an_older_claim_changes_nothing(agency, now):
    message = put(agency)
    slow = again(message)
    assert sending.claim(slow, at=now().at)
    now.on(hours=1)
    sending.sweep(now())
    assert sending.claim(again(message), at=now().at)
    assert not sending.record(slow, Answer(Outcome.NEVER, "550 No"), at=now().at)
    assert again(message).state == "sending"


def test_a_message_is_claimed_only_as_it_was_read(agency, now):
    message = put(agency)
    one, two = again(message), again(message)
    assert sending.claim(one, at=now().at)
    assert not sending.claim(two, at=now().at)


def test_links_are_blanked_once_it_is_sent_and_the_rest_is_kept(agency, office, now):
    message = put(
        agency,
        text=f"Answer here: {LINK}\nThank you.\n",
        html='<a href="https://homes.example.org/j/secret?a=1&amp;b=2">Answer</a>',
        secrets=[LINK],
        files=[
            File(
                "visit.ics", "text/calendar; method=REQUEST", f"URL:{LINK[:20]}\r\n {LINK[20:]}\r\n".encode()
            ),
            File("sheet.pdf", "application/pdf", b"%PDF-\x00"),
        ],
    )
    sending.send_waiting(now)
    (mail,) = office.to(message.to_email)
    assert LINK in mail.get_body(("plain",)).get_content()
    kept = again(message)
    assert kept.text == f"Answer here: {HIDDEN}\nThank you.\n"
    assert kept.html == f'<a href="{HIDDEN}">Answer</a>'
    assert (kept.secrets, kept.blanked_at) == ("", now().at)
    invitation, sheet = kept.attachments.order_by("name").values_list("content", flat=True)[::-1]
    assert bytes(invitation) == f"URL:{HIDDEN}\r\n".encode()
    assert bytes(sheet) == b"%PDF-\x00"


def test_that_we_may_not_send_at_all_is_no_fault_of_any_message(agency, office, now):
    """Our own address is the same for all of them: they wait until somebody has put it right."""
    office.of_senders = "553 5.7.1 Sender address rejected"
    messages = [put(agency), put(agency, to_email="jörg@example.org")]
    sending.send_waiting(now)
    for message in map(again, messages):
        assert (message.state, message.server_said) == ("waiting", "553 5.7.1 Sender address rejected")
    office.of_senders = ""
    now.on(minutes=5)
    sending.send_waiting(now)
    assert {again(one).state for one in messages} == {"sent"}


def test_links_of_a_refused_message_are_kept_for_thirty_days_only(agency, office, now):
    office.script = lambda recipient, time: "rcpt 550 No such person"
    message = put(agency, text=f"{LINK}\n", secrets=[LINK])
    sending.send_waiting(now)
    now.on(days=30)
    sending.sweep(now())
    assert again(message).secrets == LINK
    now.on(seconds=1)
    sending.sweep(now())
    kept = again(message)
    assert (kept.text, kept.secrets, kept.state) == (f"{HIDDEN}\n", "", "failed")


def test_links_of_what_waits_for_a_person_to_decide_are_kept_for_thirty_days_only(agency, office, now):
    office.script = lambda recipient, time: "data drop"
    unclear = put(agency, text=f"{LINK}\n", secrets=[LINK])
    for _ in range(3):
        sending.send_waiting(now)
        now.on(seconds=600)
    held = put(agency, text=f"{LINK}\n", secrets=[LINK])
    Message.objects.filter(pk=held.pk).update(state="held", next_try_at=None)
    now.on(days=29)
    sending.sweep(now())
    assert again(unclear).secrets == again(held).secrets == LINK
    now.on(days=1, seconds=1)
    sending.sweep(now())
    for message, state in ((unclear, "unclear"), (held, "held")):
        kept = again(message)
        assert (kept.text, kept.secrets, kept.state) == (f"{HIDDEN}\n", "", state)


def test_what_is_withdrawn_is_not_sent_and_says_why(agency, office, now):
    message, other = put(agency, key="cause:1:a", secrets=[LINK], text=LINK), put(agency, key="cause:2:a")
    assert outbox.withdraw(key_prefix="cause:1:", why="The paper was replaced.", at=now().at) == 1
    sending.send_waiting(now)
    kept = again(message)
    assert (kept.state, kept.withdrawn_why, kept.text) == ("withdrawn", "The paper was replaced.", HIDDEN)
    assert [name for name, _ in office.came] == [other.to_email]
    assert outbox.withdraw(key=other.key, why="Too late.", at=now().at) == 0


def test_what_is_withdrawn_in_flight_is_not_tried_again(agency, office, now):
    message = put(agency)
    held = again(message)
    sending.claim(held, at=now().at)
    outbox.withdraw(key=message.key, why="Gone.", at=now().at)
    sending.record(held, Answer(Outcome.AGAIN, "451 Later"), at=now().at)
    now.on(hours=2)
    sending.send_waiting(now)
    sending.sweep(now())
    assert (again(message).state, office.came) == ("withdrawn", [])


@pytest.mark.parametrize("which", [{"why": ""}, {"why": "Gone."}, {"key_prefix": "a", "why": " "}])
def test_withdrawing_needs_a_key_and_a_reason(which, now):
    with pytest.raises(ValueError, match="Say which"):
        outbox.withdraw(**which, at=now().at)


def test_a_kind_is_asked_whether_its_cause_still_holds(agency, office, now, settings):
    settings.NOTIFICATION_CAUSES = {"asked": "tests.notifications.test_sending.cause_is_gone"}
    gone, there = put(agency, kind="asked"), put(agency)
    sending.send_waiting(now)
    assert (again(gone).state, again(gone).withdrawn_why) == ("withdrawn", "The cause is gone.")
    assert again(there).state == "sent"


def cause_is_gone(message: Message) -> str:
    return "The cause is gone."


def test_a_question_that_fails_stops_neither_the_batch_nor_the_message(agency, office, now, settings):
    settings.NOTIFICATION_CAUSES = {"asked": "tests.notifications.test_sending.broken"}
    asked, there = put(agency, kind="asked"), put(agency)
    sending.send_waiting(now)
    assert (again(asked).state, again(asked).put_off) == ("waiting", 1)
    assert again(there).state == "sent"
    settings.NOTIFICATION_CAUSES = {}
    now.on(minutes=5)
    sending.send_waiting(now)
    assert again(asked).state == "sent"


def broken(message: Message) -> str:
    raise LookupError("nothing there")


def test_somebody_who_has_left_is_not_written_to(agency, office, now):
    user = make_user(agency)
    message = put(agency, to_user_id=user.pk, to_name=user.name)
    user.is_active = False
    user.save()
    sending.send_waiting(now)
    assert again(message).withdrawn_why == f"{user.name} no longer has a log-in here."


@pytest.mark.database
@pytest.mark.parametrize(
    "change",
    [
        {"state": "no-such"},
        {"next_try_at": None},
        {"state": "held"},
        {"state": "sending"},
        {"state": "sent"},
        {"sent_at": at().at},
        {"state": "withdrawn"},
        {"state": "sent", "sent_at": at().at, "secrets": "kept"},
    ],
)
def test_the_database_refuses_a_state_that_says_too_little(agency, change):
    message = put(agency)
    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.filter(pk=message.pk).update(**change)
