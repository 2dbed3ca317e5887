"""Dangers are told at once, then every day until they are made safe: to whom, in what words, in how many queries."""

from copy import deepcopy
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.models import Defect
from inspections.services import tell
from inspections.services.defects import defect_made_safe, defect_record
from notifications import causes
from notifications.models import Message, Said, Telling
from notifications.reminders import at_once, dangers
from portfolio.law import model as law
from portfolio.models import StoredStanding
from portfolio.services.take_in import take_in
from portfolio.standing import refresh
from tests.factories import DAY, at, clear_portfolio, make_agency, make_home, make_user, with_band
from tests.notifications.reminders.at_once_cases import danger_in, gas_record, london, make_world, said

pytestmark = pytest.mark.django_db
NEXT = DAY + timedelta(days=1)


@pytest.fixture(scope="module")
def stored(in_common):
    return make_world()


@pytest.fixture
def world(stored):
    return deepcopy(stored)


def test_a_danger_is_told_at_once_and_then_daily_from_the_hour_on(world):
    danger_in(world.homes[0])
    first = said(world, london(hour=3))
    assert list(first) == world.readers[:2]
    assert first[world.readers[0]].subject == "Danger: Bare wire – Flat 1, 9 Tannery Row, ZZ1 1ZZ"
    assert said(world, london(hour=3, minute=15)) == said(world, london(hour=12)) == {}
    assert said(world, london(NEXT, 6, 45)) == {}
    again = said(world, london(NEXT, 7))
    assert list(again) == world.readers[:2]
    assert again[world.readers[0]].subject == "Danger still open: Bare wire – Flat 1, 9 Tannery Row, ZZ1 1ZZ"
    assert said(world, london(NEXT, 7, 15)) == {}
    assert list(Said.objects.values_list("milestone", flat=True)) == ["at once"] * 2 + ["2026-11-26"] * 2


def test_whoever_was_told_when_it_was_recorded_hears_of_it_again_the_next_day(world):
    defect_record(
        world.homes[0].pk,
        scheme="bs7671",
        code="C1",
        title="Bare wire",
        found=DAY,
        actor=world.agent,
        moment=at(),
    )
    assert Message.objects.filter(kind="danger").count() == 2
    assert said(world, london(hour=23)) == {}
    assert list(said(world, london(NEXT, 7))) == world.readers[:2]


def test_each_hears_from_their_own_hour_on_and_quiet_days_do_not_matter(world):
    every_day = list(range(7))
    Telling.objects.create(user=world.agent, hour=10, quiet_days=every_day, off=["withdrawn"], digest=False)
    danger_in(world.homes[1])
    said(world)
    assert list(said(world, london(NEXT, 7))) == [world.readers[2]]
    assert list(said(world, london(NEXT, 10))) == [world.readers[0]]


def test_landlords_hear_of_their_own_homes_and_inspectors_of_none(world):
    for home in world.homes:
        danger_in(home, title=f"Wire in {home.label}")
    stranger = make_user(make_agency())
    messages = said(world)
    assert list(messages) == world.readers
    agent, landlord, by_post = messages.values()
    assert all(f"Wire in Flat {number}" in agent.text for number in (1, 2, 3))
    for message, own in ((landlord, 1), (by_post, 2)):
        assert [f"Flat {number}" in message.text + message.html for number in (1, 2, 3)] == [
            number == own for number in (1, 2, 3)
        ]
    assert by_post.to_user is None
    assert "http" not in by_post.text + by_post.html
    assert "tell your letting agent" in by_post.text
    assert at_once.say(stranger.agency_id, london()) == 0


def test_made_safe_ends_the_daily_message_but_not_the_bar(world):
    defect = danger_in(world.homes[2])
    said(world)
    defect_made_safe(defect.pk, on=DAY, how="Switched off.", actor=world.agent, moment=at())
    assert said(world, london(NEXT)) == {}
    assert not refresh([world.homes[2].pk], moment=at(NEXT))[world.homes[2].pk].let.clear


def test_said_to_be_done_is_not_the_end_and_confirmed_is(world):
    defect = danger_in(world.homes[2])
    said(world)
    Defect.objects.update(completed=DAY, completed_by=world.agent)
    (message,) = said(world, london(NEXT)).values()
    assert "Found 25 November 2026; said to be put right, not confirmed yet." in message.text
    Defect.objects.filter(pk=defect.pk).update(confirmed=NEXT)
    assert said(world, london(NEXT + timedelta(days=1))) == {}


def test_a_weeks_outage_is_one_message(world):
    danger_in(world.homes[2])
    said(world)
    danger_in(world.homes[2], title="Scorched socket")
    (message,) = said(world, london(DAY + timedelta(days=8))).values()
    assert (
        message.subject
        == "2 dangers still open: Scorched socket – Flat 3, 9 Tannery Row, ZZ1 1ZZ, and 1 more"
    )
    assert "Bare wire" in message.text


def test_what_the_mail_server_did_not_take_for_days_goes_out_once(world):
    danger_in(world.homes[2])
    for number in range(4):
        said(world, london(DAY + timedelta(days=number)))
    states = Message.objects.order_by("pk").values_list("state", "withdrawn_why")
    assert [state for state, _ in states] == ["withdrawn"] * 3 + ["waiting"]
    assert states[2][1] == "The message of 28 November 2026 says what is still true of it."


def test_an_import_of_30_dangers_is_one_message_to_each_reader(world):
    found = tuple(law.Defect(f"i{n}", "bs7671", "C1", f"Fault {n}", DAY) for n in range(30))
    changes = {"ref": "imported", "landlord_ref": world.by_post.ref, "label": "Flat 9", "defects": found}
    take_in(clear_portfolio(**changes), agency=world.agency, actor=world.agent, moment=at())
    messages = said(world)
    assert list(messages) == [world.readers[0], world.readers[2]]
    assert Said.objects.filter(milestone="at once").count() == 60
    message = messages[world.readers[0]]
    assert message.subject == "30 dangers recorded: Fault 0 – Flat 9, 9 Tannery Row, ZZ1 1ZZ, and 29 more"
    assert message.text.count("/defects/") == 21  # twenty of them, and the list
    assert "And 10 more:\nhttp" in message.text
    assert message.text.startswith(
        "If there is smoke, a smell of burning or sparks: get everybody out and call 999."
    )
    assert message.text.count("get everybody out") == 1
    assert "ask your letting agent for the list" in messages[world.readers[2]].text


def test_a_danger_on_a_gas_record_that_nobody_recorded_is_told_until_it_is(world):
    changes = {
        "landlord_ref": world.landlord.landlord.ref,
        "label": "Flat 8",
        "certificates": gas_record("id"),
    }
    home = make_home(world.agency, **changes)
    messages = said(world)
    assert list(messages) == world.readers[:2]
    text = messages[world.readers[0]].text
    assert "Do not use the appliance." in text
    assert (
        "- Gas boiler\n  Flat 8, 9 Tannery Row, ZZ1 1ZZ\n  An appliance was found dangerous at its last gas"
        in text
    )
    assert "Record what was found as a defect" in text
    assert list(said(world, london(NEXT))) == world.readers[:2]
    gas = home.certificates.get(ref="g1")
    defect_record(home.pk, scheme="igem_g11", code="ID", title="Flue open", found=DAY, certificate=gas,
                  actor=world.agent, moment=at(NEXT))  # fmt: skip
    assert said(world, london(NEXT, 12)) == {}  # it is a defect now, and was told as one
    assert list(said(world, london(NEXT + timedelta(days=1)))) == world.readers[:2]


@pytest.mark.parametrize(("change", "open_then"), [({"of": "hob"}, 2), ({"since": "2026-11-26"}, 1)])
def test_another_danger_on_a_gas_record_of_the_same_home_is_told_at_once(world, change, open_then):
    home = make_home(world.agency, certificates=gas_record("id"))
    assert "Danger: Gas boiler" in said(world)[world.readers[0]].subject
    assert "still open: Gas boiler" in said(world, london(NEXT))[world.readers[0]].subject
    standing = StoredStanding.objects.get(unit=home)
    for purpose in ("let", "sale"):
        bars = standing.answer[purpose]["bars"]
        bars += [bar | change for bar in bars if bar["kind"] == "danger"]
    standing.save()
    message = said(world, london(NEXT, hour=10))[world.readers[0]]
    assert message.subject.startswith("Danger: ")
    assert message.said.count() == 1
    assert said(world, london(NEXT, hour=11)) == {}
    assert said(world, london(NEXT + timedelta(days=1)))[world.readers[0]].said.count() == open_then


def test_a_home_barred_for_other_reasons_is_no_danger(world):
    make_home(world.agency, certificates=with_band("G"))
    danger_in(world.homes[0], "C2")
    danger_in(world.homes[0], "note", "other")
    assert said(world) == {}


@pytest.mark.parametrize("scheme", law.CODES)
def test_it_is_a_danger_here_exactly_when_it_is_one_at_its_recording(world, scheme):
    for code in law.CODES[scheme]:
        for suspected in (False, True):
            for trade in (None, "gas", "electrical"):
                danger_in(world.homes[0], code, scheme, suspected=suspected, trade=trade)
    expected = {f"danger:{one.pk}" for one in Defect.objects.all() if tell.is_danger(one)}
    found = {one.cause for one in dangers.open_dangers(world.agency.pk)}
    assert found == expected == dangers.still_open(f"danger:{one.pk}" for one in Defect.objects.all())


def test_at_its_turn_a_message_is_sent_while_one_of_its_dangers_is_open(world):
    one, other = danger_in(world.homes[2]), danger_in(world.homes[2])
    (message,) = said(world).values()
    assert causes.why_not(message) == ""
    Defect.objects.filter(pk=one.pk).update(made_safe=DAY)
    assert causes.why_not(message) == ""
    Defect.objects.filter(pk=other.pk).update(confirmed=DAY)
    assert causes.why_not(message).startswith("Every danger it speaks of was made safe or confirmed")


def test_a_reader_whose_message_cannot_be_made_does_not_silence_the_others(world, monkeypatch, caplog):
    draft = at_once.dangers_draft

    def broken(reader, *rest, **named):
        if reader.part == world.readers[0]:
            raise ValueError("cannot be made")
        return draft(reader, *rest, **named)

    danger_in(world.homes[0])
    monkeypatch.setattr(at_once, "dangers_draft", broken)
    assert list(said(world)) == [world.readers[1]]
    assert "could not be told to reader" in caplog.text
    monkeypatch.undo()
    assert list(said(world, london(hour=10))) == [world.readers[0]]


def test_as_many_queries_however_many_dangers_and_readers(world):
    def queries(moment) -> int:
        with CaptureQueriesContext(connection) as caught:
            at_once.say(world.agency.pk, moment)
        return len(caught)

    danger_in(world.homes[0])
    make_home(world.agency, certificates=gas_record("ar"), landlord_ref=world.by_post.ref)
    first, idle = queries(london()), queries(london(hour=10))
    for home in world.homes:
        for _ in range(10):
            danger_in(home)
    assert queries(london(hour=11)) <= first <= 40
    for number in range(3):
        make_user(world.agency, "landlord", landlord=world.landlord.landlord, name=f"Other {number}")
    assert queries(london(hour=12)) > idle
    assert queries(london(hour=13)) == idle <= 12
