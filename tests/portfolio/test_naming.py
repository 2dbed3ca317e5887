"""What rooms are called: two that look alike are told apart, the same way on every page."""

import re
from uuid import uuid4

import pytest
from django.urls import reverse

from inspections.selectors.job_parts import parts_of
from inspections.services.defects import defect_record
from inspections.services.visits import room_add, visit_begin
from notifications.models import Message
from portfolio.law import model as law
from portfolio.models import Event, Room
from portfolio.selectors.naming import names_of, room_called, room_names
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_user, signed_in, without

pytestmark = pytest.mark.django_db
ROOMS = (
    law.Room("hall", 0, "hall"),
    law.Room("b1", 1, "bedroom"),
    law.Room("b2", 1, "bedroom"),
    law.Room("b3", None, "bedroom"),
    law.Room("x", 2, None),
    law.Room("y", None, None),
)
FULL = ["Hall, ground floor", "Bedroom 1, storey 1", "Bedroom 2, storey 1", "Bedroom 3", "x, storey 2", "y"]


@pytest.fixture
def home():
    return make_home(
        make_agency(),
        rooms=ROOMS,
        appliances=(law.Appliance("fire", "gas_fire", "b2", "landlord"),),
        alarms=(),
        certificates=without(CLEAR_FLAT, "g0", "g1").certificates,
    )


def text(response) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def test_rooms_of_one_use_are_numbered_within_the_home():
    assert [name.full for name in room_names(ROOMS)] == FULL
    assert [name.short for name in room_names(ROOMS)] == [
        "Hall",
        "Bedroom 1",
        "Bedroom 2",
        "Bedroom 3",
        "x",
        "y",
    ]
    assert [name.short for name in room_names(CLEAR_FLAT.rooms)] == [
        "Hall", "Living room", "Kitchen", "Bedroom", "Bathroom"
    ]  # fmt: skip


def test_a_room_taken_out_numbers_no_other(home):
    rooms = {room.ref: room for room in home.rooms.all()}
    assert room_called(rooms["b2"]) == "Bedroom 2, storey 1"
    Room.objects.filter(pk=rooms["b1"].pk).update(removed=DAY)
    assert [room_called(rooms[ref]) for ref in ("b1", "b2", "b3")] == [
        "Bedroom, storey 1", "Bedroom 1, storey 1", "Bedroom 2"
    ]  # fmt: skip


def test_every_page_and_letter_calls_it_the_same(home):
    agency, room = home.agency, home.rooms.get(ref="b2")
    agent = make_user(agency)
    visit = visit_begin(home.pk, key=uuid4(), actor=agent, moment=at())
    defect = defect_record(
        home.pk, scheme="bs7671", code="C1", title="Bare wire", found=DAY, room=room, visit=visit, place="By the bed",
        actor=agent, moment=at(),
    )  # fmt: skip
    said = "Bedroom 2, storey 1"
    addresses = [
        reverse("defect", args=[defect.pk]), reverse("defects", args=[home.pk]), reverse("open_defects"),
        reverse("visit", args=[visit.key]), reverse("home", args=[home.pk]), reverse("home_facts", args=[home.pk]),
        reverse("defect_add", args=[home.pk]),
    ]  # fmt: skip
    for address in addresses:
        assert said in text(signed_in(agent).get(address)), address
    assert parts_of([defect.pk], day=DAY)[0].lines[0].where == f"{said}, By the bed"
    assert {said in message.text and said in message.html for message in Message.objects.all()} == {True}
    assert said in signed_in(agent).get(reverse("defects_download", args=["csv"])).content.decode()
    paper = reverse("certificate_add", args=[home.pk]) + "?kind=gas_safety_record"
    assert "Gas fire, bedroom 2" in text(signed_in(agent).get(paper))
    assert names_of(law.Unit("u", "b", rooms=ROOMS))["b2"] == "Bedroom 2"


def test_a_room_added_on_a_visit_is_told_from_the_one_there(home):
    agent = make_user(home.agency)
    visit = visit_begin(home.pk, key=uuid4(), actor=agent, moment=at())
    room = room_add(visit.pk, key=uuid4(), use="hall", level=1, actor=agent, moment=at())
    assert Event.objects.get(subject=f"room:{room.pk}").says == "Room added: Hall 2, storey 1."
