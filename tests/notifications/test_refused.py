"""An address that the mail server refuses is marked, the agents are told once, and it is left alone."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Contractor
from notifications import outbox, sending, services
from notifications.models import Message, RefusedAddress
from notifications.transport import Answer, Outcome
from portfolio.models import Agency
from tests.factories import at, make_agency, make_home, make_landlord, make_user, signed_in
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.notifications.drafts import put
from tests.portfolio.test_gate_concurrent import together

NO = "550 5.1.1 No such person"
GONE = "gone@example.org"


@pytest.fixture
def agency(db) -> Iterator[Agency]:
    return make_agency("Latchford Lettings")


@pytest.fixture
def refusing(office: Any) -> Any:
    office.script = lambda recipient, time: f"rcpt {NO}" if recipient.lower() == GONE else ""
    return office


def again(message: Message) -> Message:
    return Message.objects.get(pk=message.pk)


def told() -> list[Message]:
    return list(Message.objects.filter(kind="refused").order_by("pk"))


def test_a_refused_address_is_marked_and_each_agent_is_told_once(agency, refusing, now):
    agents = [make_user(agency), make_user(agency)]
    make_user(agency, is_active=False)
    make_user(agency, "inspector")
    make_user(make_agency())
    message = put(agency, to_email="Gone@example.org")
    sending.send_waiting(now)
    mark = RefusedAddress.objects.get()
    assert (mark.agency, mark.email, mark.message, mark.ended_at) == (agency, GONE, message, None)
    assert (mark.since, mark.said) == (now().at, NO)
    assert [(one.key, one.to_email) for one in told()] == [
        (f"refused:{mark.pk}:{agent.pk}", agent.email) for agent in agents
    ]
    put(agency, kind="danger", to_email=GONE)
    sending.send_waiting(now)
    assert (RefusedAddress.objects.count(), len(told())) == (1, 2)
    assert {reader for reader, _ in refusing.came} == {agent.email for agent in agents}


@pytest.mark.parametrize(
    "script",
    ["data 550 5.1.1 No", "rcpt 451 4.1.1 Later", "rcpt 550 5.7.1 Not from you", "rcpt 552 5.2.2 Full"],
)
def test_other_refusals_say_nothing_of_the_address(agency, office, now, script):
    make_user(agency)
    office.script = lambda recipient, time: script
    put(agency)
    sending.send_waiting(now)
    assert (RefusedAddress.objects.count(), told()) == (0, [])


def test_what_comes_later_is_withdrawn_with_the_reason_but_dangers_are_tried(agency, refusing, now):
    put(agency, to_email=GONE)
    same_page = put(agency, to_email="GONE@example.org")
    elsewhere = put(make_agency(), to_email=GONE)
    sending.send_waiting(now)
    later = put(agency, to_email=GONE)
    dangers = [put(agency, to_email=GONE, kind=kind) for kind in ("danger", "dangers")]
    sending.send_waiting(now)
    why = f"Mail to {GONE} has been refused since 25 November 2026: {NO}."
    for message in (same_page, later):
        assert (again(message).state, again(message).withdrawn_why) == ("withdrawn", why)
    # Others' marks are their own business: this agency found out by itself.
    assert again(elsewhere).state == "failed"
    assert [again(message).state for message in dangers] == ["failed", "failed"]
    assert refusing.asked == {GONE: 4}


def test_a_danger_that_is_taken_ends_the_mark(agency, refusing, now):
    put(agency, to_email=GONE)
    sending.send_waiting(now)
    refusing.script = lambda recipient, time: ""
    put(agency, to_email=GONE, kind="danger")
    sending.send_waiting(now)
    mark = RefusedAddress.objects.get()
    assert (mark.ended_at, mark.ended_by) == (now().at, None)
    assert again(put(agency, to_email=GONE)).state == "waiting"
    sending.send_waiting(now)
    assert len(refusing.to(GONE)) == 2


def test_having_the_message_sent_again_ends_the_mark(agency, refusing, now):
    agent, message = make_user(agency), put(agency, to_email="Gone@example.org")
    sending.send_waiting(now)
    services.message_send_again(message.pk, actor=agent, moment=now())
    assert RefusedAddress.objects.get().ended_by == agent
    sending.send_waiting(now)
    assert again(message).state == "failed"
    assert RefusedAddress.objects.filter(ended_at=None).count() == 1  # it was refused once more
    assert len(told()) == 2


def test_a_refused_message_about_a_refusal_tells_nobody_but_the_next_other_one_does(agency, office, now):
    first, second = make_user(agency), make_user(agency)
    office.script = lambda recipient, time: f"rcpt {NO}" if recipient in (GONE, first.email) else ""
    put(agency, to_email=GONE)
    for _ in range(3):
        sending.send_waiting(now)
    assert RefusedAddress.objects.count() == 1
    assert {one.to_email: one.state for one in told()} == {first.email: "failed", second.email: "sent"}
    put(agency, to_email=first.email, to_user_id=first.pk)
    for _ in range(3):
        sending.send_waiting(now)
    mark = RefusedAddress.objects.get(email=first.email)
    assert [one.to_email for one in told() if f":{mark.pk}:" in one.key] == [second.email]


def test_the_agent_reads_what_to_do_where_and_what_it_was_about(agency, refusing, now):
    make_user(agency)
    firm = Contractor.objects.create(agency=agency, name="Copper & Sons", email="Gone@example.org")
    landlord = make_landlord(agency)
    landlord.email = GONE
    landlord.save()
    home = make_home(agency)
    message = put(
        agency,
        to_email=GONE,
        to_name="Copper & Sons",
        unit_id=home.pk,
        subject="Answer this: https://homes.example.org/j/s3cret/",
        secrets=["https://homes.example.org/j/s3cret/"],
    )
    sending.send_waiting(now)
    (letter,) = told()
    assert letter.subject == "Correct the address of Copper & Sons: mail to it is refused"
    lines = letter.text.splitlines()
    assert lines[0] == f"Correct the address {GONE} of Copper & Sons: the mail server refuses it."
    assert f"Contractor Copper & Sons: http://localhost:8000/contractors/{firm.pk}/change/" in lines
    assert f"Landlord {landlord}: http://localhost:8000/landlords/{landlord.pk}/change/" in lines
    assert "What did not arrive: Answer this: (link)" in lines
    assert f"Home: {home}" in lines
    assert f"What the mail server said: {NO}" in lines
    assert f"http://localhost:8000/messages/{message.pk}/" in lines
    assert "s3cret" not in letter.text + letter.html
    assert "Copper &amp; Sons" in letter.html


def test_a_refused_job_is_named_and_the_page_of_a_new_job_warns(agency, refusing, now):
    agent, firm = make_user(agency), make_firm(agency)
    Contractor.objects.filter(pk=firm.pk).update(email=GONE)
    firm.refresh_from_db()
    job, _ = send(firm, make_defects(agency, "C2"), agent)
    other = make_defects(agency, "C2", label="Flat 3")
    client, page = signed_in(agent), f"/jobs/new/?defect={other[0].pk}"
    says = f"Mail to {GONE} has been refused since 25 November 2026: {NO}."
    assert says not in client.get(page).content.decode()
    sending.send_waiting(now)
    (letter,) = told()
    assert f"Job: {job} for {firm}, http://localhost:8000/jobs/{job.pk}/" in letter.text.splitlines()
    assert "send a new link from the page of the job" in letter.text
    assert f'<a href="http://localhost:8000/jobs/{job.pk}/">{job}</a>' in letter.html
    assert "/j/" not in letter.text + letter.html + letter.subject
    for address in (page, f"/jobs/{job.pk}/"):
        assert says in client.get(address).content.decode()


def test_what_is_asked_of_a_page_of_messages_does_not_grow_with_them(agency, office, now):
    def queries(count: int) -> list[str]:
        for _ in range(count):
            put(agency, to_user_id=make_user(agency).pk)
        with CaptureQueriesContext(connection) as asked:
            sending.send_waiting(now)
        return [one["sql"] for one in asked if one["sql"].startswith("SELECT")]

    queries(1)
    few, many = queries(2), queries(20)
    assert len(few) == len(many)


def test_marks_of_many_addresses_cost_one_query(agency, refusing, now, django_assert_num_queries):
    put(agency, to_email=GONE)
    sending.send_waiting(now)
    for others in (1, outbox.MOST_ASKED + 1):
        emails = ["Gone@Example.org", "", *(f"other{number}@example.org" for number in range(others))]
        with django_assert_num_queries(1):
            found = outbox.refused(agency.pk, emails)
        assert list(found) == ["Gone@Example.org"]
        assert found["Gone@Example.org"].endswith(f"since 25 November 2026: {NO}.")
    assert outbox.refused(make_agency().pk, [GONE]) == {}
    with django_assert_num_queries(0):
        assert outbox.refused(agency.pk, []) == {}


def test_pages_show_that_mail_is_refused(agency, refusing, now):
    agent = make_user(agency)
    firm = Contractor.objects.create(agency=agency, name="Copper & Sons", email=GONE)
    person = make_user(agency, "inspector", email=GONE)
    home = make_home(agency)
    assert home.landlord is not None
    home.landlord.email = GONE
    home.landlord.save()
    client = signed_in(agent)
    pages = [f"/contractors/{firm.pk}/", "/contractors/", "/people/", f"/homes/{home.pk}/"]
    says = f"Mail to {GONE} has been refused since 25 November 2026: {NO}."
    for page in pages:
        assert says not in client.get(page).content.decode()
    put(agency, to_email=GONE, to_user_id=person.pk)
    sending.send_waiting(now)
    for page in pages:
        assert says in client.get(page).content.decode(), page


@pytest.mark.database
@pytest.mark.django_db(transaction=True)
def test_refusals_at_once_mark_an_address_once_and_tell_once(now):
    agency = make_agency()
    make_user(agency)
    messages = [put(agency, to_email=GONE) for _ in range(4)]
    for message in messages:
        assert sending.claim(message, at=now().at)
    never = Answer(Outcome.NEVER, NO, of_address=True)
    together(*[lambda one=one: sending.record(one, never, at=at().at) and None for one in messages])
    assert (RefusedAddress.objects.count(), len(told())) == (1, 1)
    assert Message.objects.filter(state="failed").count() == 4
