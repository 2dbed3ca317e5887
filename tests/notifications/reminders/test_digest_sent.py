"""What becomes of a digest: sent, refused, overtaken or withdrawn; and made good where it did not leave."""

from copy import deepcopy
from datetime import timedelta

import pytest

from notifications import sending, tasks
from notifications.models import Message, RefusedAddress
from notifications.reminders import digest
from portfolio.models import Due, StoredStanding
from tests.factories import DAY, at
from tests.notifications.reminders.digest_cases import a_town, digests, owe, run, told


@pytest.fixture(scope="module")
def stored(in_common):
    return a_town()


@pytest.fixture
def town(stored, db):
    Due.objects.all().delete()
    return deepcopy(stored)


def test_a_digest_that_did_not_leave_is_overtaken_by_the_next(town):
    """The mail server was down, say: whoever comes back to their mail finds one message."""
    agency, homes, people = town
    owe(homes[1], 90), owe(homes[1], 8, of="e2")
    run(agency)
    run(agency, DAY + timedelta(days=1))
    first, second = digests(to_user=people["agent"])
    assert (first.state, second.state) == ("withdrawn", "waiting")
    assert first.withdrawn_why == "The digest of 26 November 2026 says what is still true of it."
    assert {one.milestone for one in second.said.all()} == {"90", "7"}


@pytest.mark.parametrize("state", ["failed", "held", "withdrawn"])
def test_what_was_refused_held_or_withdrawn_was_not_said(town, state):
    agency, homes, people = town
    owe(homes[1], 90)
    run(agency)
    why = {"withdrawn_why": "The digest was switched off."} if state == "withdrawn" else {}
    Message.objects.update(state=state, next_try_at=None, secrets="", **why)
    owe(homes[1], 7)
    run(agency, DAY + timedelta(days=1))
    assert {one.milestone for one in digests(to_user=people["agent"])[1].said.all()} == {"90", "7"}
    assert digests(to_user=people["agent"])[0].state == "withdrawn"


def test_what_is_in_the_hands_of_the_mail_server_is_not_said_again(town):
    agency, homes, people = town
    owe(homes[1], 90)
    run(agency)
    Message.objects.update(state="unclear", lost=1)
    owe(homes[1], 8)
    run(agency, DAY + timedelta(days=1))
    first, second = digests(to_user=people["agent"])
    assert first.state == "unclear"
    assert {one.milestone for one in second.said.all()} == {"7"}


def test_nobody_is_written_to_at_a_refused_address_until_that_ends(town):
    agency, homes, people = town
    owe(homes[1], 8)
    run(agency)
    refused = RefusedAddress.objects.create(
        agency=agency, email=people["agent"].email, since=at().at, said="550 No such", message=digests()[0]
    )
    Message.objects.update(state="failed", next_try_at=None)
    tomorrow = DAY + timedelta(days=1)
    assert run(agency, tomorrow) == 0
    RefusedAddress.objects.filter(pk=refused.pk).update(ended_at=at().at)
    assert run(agency, tomorrow) == 1


def test_people_who_left_are_not_told(town):
    agency, homes, people = town
    people["agent"].is_active = False
    people["agent"].save()
    owe(homes[1], 7)
    assert run(agency) == 0


def test_one_digest_that_cannot_be_made_does_not_stop_the_others(town, monkeypatch, caplog):
    agency, homes, people = town
    owe(homes[0], 7)
    make = digest.draft_of

    def fails_for_the_agent(reader, *told, **more):
        if reader.user_id == people["agent"].pk:
            raise ValueError("no words")
        return make(reader, *told, **more)

    monkeypatch.setattr(digest, "draft_of", fails_for_the_agent)
    assert run(agency) == 1
    assert "cannot be made" in caplog.text
    assert told(people["agent"]) == set()
    monkeypatch.undo()
    assert run(agency) == 1


def test_a_digest_is_withdrawn_at_its_turn_when_all_of_it_is_gone(town, office, now):
    agency, homes, people = town
    first, second = owe(homes[1], 7), owe(homes[1], 7, duty=True)
    run(agency)
    (message,) = digests()
    assert digest.why_gone(message) == ""
    first.delete()
    assert digest.why_gone(message) == ""
    second.delete()
    sending.send_waiting(now)
    message.refresh_from_db()
    assert (message.state, message.withdrawn_why) == (
        "withdrawn",
        "Everything it speaks of was dealt with before it was sent.",
    )
    assert office.came == []


def test_it_arrives_with_text_html_and_the_way_to_end_it(town, office, now):
    agency, homes, people = town
    owe(homes[1], 7)
    run(agency)
    sending.send_waiting(now)
    (mail,) = office.to(people["agent"].email)
    stop = mail["List-Unsubscribe"].strip(" <>")
    for kind in ("plain", "html"):
        assert stop in mail.get_body((kind,)).get_content()
    message = digests()[0]
    assert message.state == "sent"
    assert stop not in message.text + message.html


def test_the_task_tells_each_agency_and_drops_a_day_that_is_over(town, time_machine):
    agency, homes, _ = town
    owe(homes[1], 7)
    time_machine.move_to(at(hour=9).at, tick=False)
    yesterday = at(DAY - timedelta(days=1), 23).at.isoformat()
    assert tasks.tell_agency(agency.pk, yesterday) == 0
    assert tasks.tell_agency(agency.pk, at(hour=8).at.isoformat()) == 1
    assert tasks.tell() == 1


def test_the_digest_is_written_though_what_is_told_at_once_fails(town, time_machine, monkeypatch):
    agency, homes, _ = town
    owe(homes[1], 7)
    time_machine.move_to(at(hour=9).at, tick=False)
    monkeypatch.setattr("notifications.reminders.at_once.say", lambda *told: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        tasks.tell_agency(agency.pk, at(hour=8).at.isoformat())
    assert len(digests()) == 1


def test_answers_whose_day_has_come_are_worked_out_before_they_are_told(town, time_machine):
    agency, homes, _ = town
    StoredStanding.objects.update(law="")
    time_machine.move_to(at(hour=9).at, tick=False)
    tasks.tell()
    assert not StoredStanding.objects.filter(law="").exists()
