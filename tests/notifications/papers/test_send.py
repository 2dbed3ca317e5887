"""Papers sent by e-mail: looked at, left with the outbox, and counted as given once the mail server took them."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from notifications import sending
from notifications.models import Message
from notifications.papers.after import copies_given
from notifications.papers.letter import MOST_BYTES, Offer, letter
from portfolio.clock import moment_of
from portfolio.facts import certificate_facts
from portfolio.models import Act, Event, Unit, User
from portfolio.services import events
from portfolio.services.certificates import certificate_add, certificate_correct
from tests.factories import at, make_agency, make_user
from tests.notifications.papers.cases import (
    OWED,
    ask,
    owed,
    paper,
    rented,
    send,
    with_bytes,
    with_file,
    withdrawn,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


@pytest.fixture(scope="module")
def there(in_common):
    """Made once: an agent, a home, and the file of its gas record."""
    agent = make_user(make_agency("Latchford Lettings"), name="Ann Agent")
    home = rented(agent.agency)
    return agent, home, with_file(paper(home, "g2"), name="boiler.jpg")


@pytest.fixture
def agent(there):
    return User.objects.select_related("agency").get(pk=there[0].pk)


@pytest.fixture
def home(there):
    return Unit.objects.get(pk=there[1].pk)


@pytest.fixture
def gas(there):
    return there[2]


def state(message):
    return Message.objects.get(pk=message.pk).state


def says(home, verb):
    return list(Event.objects.filter(unit=home, verb=verb).order_by("seq").values_list("says", flat=True))


def test_a_copy_counts_as_given_when_the_mail_server_took_it_and_not_before(agent, home, gas, office, now):
    assert owed(home) == ["g2"]
    assert home.dues.get(code="gb_gas_check.copy_to_tenant").due == OWED
    message = send(home, ask(home, "g2"), agent)
    assert owed(home) == ["g2"]
    assert not Act.objects.filter(unit=home, of="g2").exists()
    now.on(minutes=3)
    sending.send_waiting(now)
    act = Act.objects.get(unit=home, of="g2")
    assert (act.what, act.party, act.on) == ("copy_given", "tenant", at().day)
    assert owed(home) == []
    (line,) = says(home, "act.recorded")
    assert line == (
        "Copy given (tenant) for g2, 25 November 2026, by e-mail, taken by the mail server on 25 November 2026 at "
        f"12:03, message {message.pk}."
    )
    assert Event.objects.get(unit=home, verb="act.recorded").actor == agent
    assert events.verify(agent.agency) is None


def test_the_file_arrives_byte_for_byte_with_what_it_is_in_its_name(agent, home, gas, office, now):
    message = send(home, ask(home, "g2", note="Mind the new boiler."), agent)
    sending.send_waiting(now)
    (mail,) = office.to("pat@example.org")
    assert mail["To"] == "Pat Tenant <pat@example.org>"
    assert mail["Reply-To"] == agent.email
    (part,) = mail.iter_attachments()
    assert part.get_content() == gas.content
    assert (part.get_content_type(), part.get_filename()) == (
        "image/jpeg",
        "gas-safety-record-2026-11-16.jpg",
    )
    body = mail.get_body(("plain",)).get_content().replace("\r\n", "\n")
    assert body.startswith("Keep what goes with this message: it is your copy.\n")
    assert "Ann Agent writes:\nMind the new boiler." in body
    assert "Sneck records; it does not inspect or certify." in body
    assert mail.get_body(("html",)) is not None
    told = Message.objects.get(pk=message.pk).data["papers"]
    assert [(one["ref"], one["sha256"]) for one in told] == [("g2", [gas.sha256])]


def test_a_refused_mail_leaves_the_duty_open(agent, home, gas, office, now):
    office.script = lambda recipient, time: "rcpt 550 No such person"
    message = send(home, ask(home, "g2"), agent)
    sending.send_waiting(now)
    assert state(message) == "failed"
    assert owed(home) == ["g2"]
    assert not Act.objects.filter(unit=home, of="g2").exists()


def test_what_follows_is_recorded_once_however_often_it_is_asked(agent, home, gas):
    message = send(home, ask(home, "g2"), agent)
    for _ in range(3):
        copies_given(message, at())
    assert Act.objects.filter(unit=home, of="g2").count() == 1
    assert len(says(home, "papers.taken")) == 1


def test_a_process_that_died_between_leaves_the_day_of_the_giving_as_it_was(agent, home, gas, time_machine):
    message = send(home, ask(home, "g2"), agent)
    later = at(at().day + timedelta(days=2))
    time_machine.move_to(later.at, tick=False)
    copies_given(message, at())
    assert Act.objects.get(unit=home, of="g2").on == at().day
    assert home.standing.on == later.day
    assert Event.objects.filter(unit=home).order_by("-seq").first().at == later.at


def test_the_day_of_the_giving_is_that_of_london(agent, home, gas):
    message = send(home, ask(home, "g2"), agent)
    copies_given(message, moment_of(at(hour=0).at.replace(month=7, day=1, hour=23, minute=30)))
    assert Act.objects.get(unit=home, of="g2").on.isoformat() == "2026-07-02"


def test_a_paper_withdrawn_after_it_was_taken_is_not_counted_and_the_record_says_why(agent, home, gas):
    with_file(paper(home, "e1"))
    message = send(home, ask(home, "g2", "e1"), agent)
    withdraw(paper(home, "g2"), agent)
    copies_given(message, at())
    assert list(Act.objects.filter(unit=home, on=at().day).values_list("of", flat=True)) == ["e1"]
    (line,) = says(home, "papers.taken")
    assert (
        "Not counted as given: Gas safety record, 16 Nov 2026, because it was withdrawn on 25 November 2026."
        in line
    )


def withdraw(row, actor):
    certificate_correct(row.pk, withdrawn(row), why="Not ours.", actor=actor, moment=at())


def test_a_mail_whose_paper_is_withdrawn_or_replaced_before_its_turn_does_not_go(
    agent, home, gas, office, now
):
    first = send(home, ask(home, "g2"), agent)
    withdraw(paper(home, "g2"), agent)
    sending.send_waiting(now)
    assert state(first) == "withdrawn"
    assert office.came == []
    with_file(paper(home, "e1"))
    second = send(home, ask(home, "e1"), agent)
    newer = replace(certificate_facts(paper(home, "e1"), []), ref="e2", number="EI-2", inspected=at().day)
    certificate_add(home.pk, newer, actor=agent, moment=at())
    sending.send_waiting(now)
    assert "a later one was recorded" in Message.objects.get(pk=second.pk).withdrawn_why
    third = send(home, ask(home, "e1"), agent)  # known to be an earlier one, and sent all the same
    sending.send_waiting(now)
    assert state(third) == "sent"


def test_the_same_form_sent_twice_is_one_mail_and_with_other_words_an_error(agent, home, gas):
    with_file(paper(home, "e1"))
    first = send(home, ask(home, "g2"), agent, key="k")
    assert send(home, ask(home, "g2"), agent, key="k") == first
    assert Message.objects.count() == 1
    for other in (ask(home, "g2", email="else@example.org"), ask(home, "e1")):
        with pytest.raises(ValidationError, match="sent already, to pat@example.org"):
            send(home, other, agent, key="k")
    assert len(says(home, "papers.sent")) == 1


@pytest.mark.parametrize(("party", "counted"), [("tenant", 1), ("prospect", 1), ("council", 0), ("other", 0)])
def test_the_law_counts_what_it_knows(agent, home, gas, party, counted):
    message = send(home, ask(home, "g2", party=party), agent)
    copies_given(message, at())
    assert Act.objects.filter(unit=home, of="g2", party=party).count() == counted
    assert Act.objects.filter(unit=home, of="g2").count() == counted


def test_the_record_names_no_tenant(agent, home, gas):
    message = send(home, ask(home, "g2"), agent)
    copies_given(message, at())
    lines = " ".join(Event.objects.filter(unit=home).values_list("says", flat=True))
    assert "Pat" not in lines
    assert "pat@" not in lines
    assert (
        f"Papers sent by e-mail to the tenant: Gas safety record, 16 Nov 2026 (message {message.pk})."
        in lines
    )


def nothing_stored(home):
    return not Message.objects.exists() and not Event.objects.filter(unit=home, verb="papers.sent").exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"agreed": False}, "agreed"), ({"papers": frozenset()}, "papers"), ({"party": "king"}, "party")],
)
def test_what_is_missing_is_said_and_nothing_is_stored(agent, home, gas, changes, field):
    with pytest.raises(ValidationError) as wrong:
        send(home, ask(home, "g2", **changes), agent)
    assert list(wrong.value.message_dict) == [field]
    assert nothing_stored(home)


def test_files_up_to_twenty_megabytes_go_and_one_byte_more_does_not(agent, home):
    with_bytes(paper(home, "e1"), MOST_BYTES - 1000)
    with_bytes(paper(home, "p1"), 1000)
    made = letter(Offer(home, "tenant", at()), ask(home, "e1", "p1"), actor=agent, moment=at())
    assert made.size == MOST_BYTES
    with_bytes(paper(home, "g0"), 1)
    with pytest.raises(ValidationError, match="more than the") as wrong:
        send(home, ask(home, "e1", "p1", "g0"), agent)
    assert "papers" in wrong.value.message_dict
    assert nothing_stored(home)


def test_a_file_that_the_store_lost_stops_the_mail(agent, home, gas, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    with pytest.raises(ValidationError, match="not in the store any more"):
        send(home, ask(home, "g2"), agent)
    assert nothing_stored(home)


@pytest.mark.parametrize("who", ["landlord", "inspector", "stranger"])
def test_nobody_else_sends_them(agent, home, gas, who):
    other = make_user(make_agency()) if who == "stranger" else make_user(
        agent.agency, who, **({"landlord": home.landlord} if who == "landlord" else {})
    )  # fmt: skip
    with pytest.raises(Unit.DoesNotExist):
        send(home, ask(home, "g2"), other)
    assert nothing_stored(home)


def test_a_paper_of_another_home_cannot_be_slipped_in(agent, home, gas):
    elsewhere = rented(make_agency())
    with_file(paper(elsewhere, "g2"))
    with pytest.raises(ValidationError, match="count no longer"):
        send(home, ask(home, papers=frozenset({paper(elsewhere, "g2").pk})), agent)


def test_queries_do_not_grow_with_papers(agent):
    few, many = rented(agent.agency), rented(agent.agency)
    for home, refs in ((few, ["g2"]), (many, ["g0", "g1", "g2", "e1", "p1"])):
        for ref in refs:
            with_file(paper(home, ref))
    counts = []
    for home, refs in ((few, ["g2"]), (many, ["g0", "g1", "g2", "e1", "p1"])):
        offer = Offer(Unit.objects.select_related("building", "agency").get(pk=home.pk), "tenant", at())
        with CaptureQueriesContext(connection) as asked:
            letter(offer, ask(home, *refs), actor=agent, moment=at())
        counts.append(len(asked))
    assert counts[0] == counts[1]
