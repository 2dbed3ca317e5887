"""A visit: sent twice is once, silence is never a look, and nothing that was found is lost."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from inspections.models import Defect, Evidence, Look, Visit
from inspections.selectors.visits import visit_said
from inspections.services.defects import NotAllowed
from inspections.services.visits import (
    NOT_LOOKED_AT,
    found_record,
    look_record,
    photo_add,
    room_add,
    visit_begin,
    visit_end,
)
from portfolio.documents import Accepted
from portfolio.law import model as law
from portfolio.models import Event, Room, Unit
from portfolio.services.events import verify
from portfolio.services.homes import home_edit
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]

C2 = {"scheme": "bs7671", "code": "C2", "title": "Cracked socket"}
PHOTO = Accepted(b"a photo", "image/jpeg", "photo.jpg", "a" * 64)
LATER = at(hour=15)
BARE = {"rooms": None, "appliances": None, "alarms": None, "certificates": None}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


@pytest.fixture
def home(agency):
    return make_home(agency, defects=None)


@pytest.fixture
def visit(home, inspector):
    return visit_begin(home.pk, key=uuid4(), actor=inspector, moment=at())


def look(visit, room, actor, what="nothing", **more):
    return look_record(
        visit.pk, **{"key": uuid4(), "moment": at(), **more}, room=room, what=what, actor=actor
    )


def find(visit, actor, **more):
    return found_record(visit.pk, **{"key": uuid4(), "moment": at(), **C2, **more}, actor=actor)


def end(visit, actor, **more):
    return visit_end(visit.pk, **{"moment": LATER, **more}, actor=actor)


def states(visit):
    return {place.ref: place.state for place in visit_said(Visit.objects.get(pk=visit.pk)).rooms}


def test_everything_sent_twice_is_there_once(home, inspector):
    begun, found, seen, new, shot = (uuid4() for _ in range(5))
    for _ in range(2):
        visit = visit_begin(home.pk, key=begun, actor=inspector, moment=at())
        room = room_add(visit.pk, key=new, use="utility", level=0, actor=inspector, moment=at())
        look(visit, room, inspector, key=seen)
        find(visit, inspector, key=found, room=room)
        photo_add(visit.pk, key=shot, defect_key=found, accepted=PHOTO, actor=inspector, moment=at())
        end(visit, inspector)
    counts = [m.objects.count() for m in (Visit, Defect, Evidence)]
    assert counts == [1, 1, 1]
    assert Room.objects.filter(unit=home, use="utility").count() == 1
    assert Look.objects.exclude(says=NOT_LOOKED_AT).count() == 1
    verbs = list(Event.objects.filter(data__visit=visit.pk).values_list("verb", flat=True))
    assert sorted(verbs) == ["room.added", "room.looked_at", "visit.begun", "visit.ended"]
    assert verify(home.agency) is None


def test_a_key_is_never_taken_for_something_else(visit, agency, inspector):
    key = uuid4()
    find(visit, inspector, key=key)
    with pytest.raises(ValidationError, match="other content"):
        find(visit, inspector, key=key, title="Another thing")
    seen = look(visit, visit.unit.rooms.first(), inspector)
    with pytest.raises(ValidationError, match="other content"):
        look(visit, visit.unit.rooms.last(), inspector, key=seen.key)
    with pytest.raises(ValidationError, match="another home"):
        visit_begin(make_home(agency).pk, key=visit.key, actor=inspector, moment=at())


def test_the_end_records_silence_as_not_looked_at(visit, inspector, home):
    kitchen, hall, bath = (home.rooms.get(ref=ref) for ref in ("kitchen", "hall", "bath"))
    look(visit, kitchen, inspector)
    look(visit, bath, inspector, "not_seen", says="Locked, no key.")
    find(visit, inspector, room=hall)
    end(visit, inspector)
    assert states(visit) == {
        "kitchen": "nothing", "bath": "not_seen", "hall": "found", "lounge": "not_looked", "bed": "not_looked"
    }  # fmt: skip
    assert "Not looked at: Living room" in Event.objects.get(verb="visit.ended").says


def test_every_room_looked_at_and_nothing_found_is_a_home_looked_over(visit, inspector, home):
    for room in home.rooms.all():
        look(visit, room, inspector)
    end(visit, inspector)
    home.refresh_from_db()
    assert home.defects_listed
    assert home.standing.let_clear


@pytest.mark.parametrize("gap", ["silent", "not_seen", "elsewhere", "rooms_not_listed"])
def test_any_gap_leaves_it_open_whether_there_are_defects(visit, inspector, home, gap):
    first, *others = home.rooms.all()
    for room in others:
        look(visit, room, inspector)
    if gap != "silent":
        look(visit, first, inspector, "not_seen" if gap == "not_seen" else "nothing", says="No key.")
    if gap == "elsewhere":
        look(visit, None, inspector, "not_seen", says="The loft: no ladder.")
    if gap == "rooms_not_listed":
        Unit.objects.filter(pk=home.pk).update(rooms_listed=False)
    end(visit, inspector)
    home.refresh_from_db()
    assert not home.defects_listed


def test_what_was_seen_after_all_counts(visit, inspector, home):
    for room in home.rooms.all():
        look(visit, room, inspector, "not_seen", says="No key.", at=at(hour=12).at)
        look(visit, room, inspector, at=at(hour=13).at, moment=at(hour=13))
    end(visit, inspector)
    home.refresh_from_db()
    assert home.defects_listed
    assert not visit_said(visit).limited


def test_saying_that_these_are_all_the_rooms_lists_them(agency, inspector):
    home = make_home(agency, **BARE, defects=None)
    visit = visit_begin(home.pk, key=uuid4(), actor=inspector, moment=at())
    room = room_add(visit.pk, key=uuid4(), use="kitchen", level=0, actor=inspector, moment=at())
    look(visit, room, inspector)
    home.refresh_from_db()
    assert not home.rooms_listed
    end(visit, inspector, all_rooms=True)
    home.refresh_from_db()
    assert home.rooms_listed
    assert home.defects_listed


def test_a_room_added_on_a_visit_outlives_a_change_of_facts(agency, inspector):
    home = make_home(agency, **BARE, ref="flat-2")
    visit = visit_begin(home.pk, key=uuid4(), actor=inspector, moment=at())
    room = room_add(visit.pk, key=uuid4(), use="kitchen", level=0, actor=inspector, moment=at())
    unit = law.Unit("flat-2", BUILDING.ref, label="Flat 2b", dwelling=CLEAR_FLAT.dwelling)
    home_edit(home.pk, building=BUILDING, unit=unit, actor=inspector, moment=at())
    room.refresh_from_db()
    assert room.removed is None


def test_defects_and_photos_are_taken_after_the_end(visit, inspector, agency):
    other = make_user(agency, "inspector")
    end(visit, inspector)
    defect = find(visit, other, at=at().at, moment=at(DAY + timedelta(days=1)))
    photo_add(visit.pk, key=uuid4(), defect_key=defect.key, accepted=PHOTO, actor=other, moment=LATER)
    assert defect.found == DAY
    assert len(visit_said(visit).found) == 1


@pytest.mark.parametrize(("minutes", "taken"), [(-1, True), (0, True), (1, False)])
def test_a_look_is_taken_after_the_end_if_it_was_before_it(visit, inspector, home, minutes, taken):
    ended = end(visit, inspector).ended_at
    args = (visit, home.rooms.first(), inspector)
    when = {"at": ended + timedelta(minutes=minutes), "moment": at(hour=18)}
    if taken:
        look(*args, **when)
        assert not Unit.objects.get(pk=home.pk).defects_listed
        return
    with pytest.raises(NotAllowed, match="has ended"):
        look(*args, **when)


def test_ended_twice_keeps_both_sayings(visit, inspector, agency):
    end(visit, inspector, says="The loft is dry.")
    for _ in range(2):
        again = end(visit, make_user(agency), says="Meter read.", moment=at(hour=16))
    assert (again.ended_by, again.ended_at) == (inspector, LATER.at)
    assert again.says == "The loft is dry.\n\nMeter read."


def test_a_clock_of_a_phone_that_is_wrong_does_no_harm(visit, inspector, home):
    early, late = at(DAY - timedelta(days=400)), at(DAY + timedelta(days=400))
    assert find(visit, inspector, at=early.at).found == DAY
    assert find(visit, inspector, at=late.at).found == DAY
    assert look(visit, home.rooms.first(), inspector, at=late.at).at == at().at


def test_things_of_another_home_are_refused(visit, inspector, agency):
    room = make_home(agency).rooms.first()
    with pytest.raises(ValidationError, match="another home"):
        look(visit, room, inspector)
    with pytest.raises(ValidationError, match="another home"):
        find(visit, inspector, room=room)
    with pytest.raises(NotAllowed, match="Send the defect first"):
        photo_add(visit.pk, key=uuid4(), defect_key=uuid4(), accepted=PHOTO, actor=inspector, moment=at())
    with pytest.raises(ValidationError, match="which room"):
        look(visit, None, inspector)
    with pytest.raises(ValidationError, match="what could not be seen"):
        look(visit, None, inspector, "not_seen")


def test_a_defect_whose_photo_is_refused_is_not_there_without_it(visit, inspector, settings):
    settings.EVIDENCE_MOST = 1
    two = [PHOTO, Accepted(b"another", "image/jpeg", "b.jpg", "b" * 64)]
    with pytest.raises(NotAllowed):
        find(visit, inspector, photos=two)
    assert not Defect.objects.exists()


def test_a_new_room_is_asked_about_at_once(agency, inspector):
    home = make_home(agency)
    assert home.standing.let_clear
    visit = visit_begin(home.pk, key=uuid4(), actor=inspector, moment=at())
    room_add(visit.pk, key=uuid4(), use="living", level=2, actor=inspector, moment=at())
    home.standing.refresh_from_db()
    assert not home.standing.let_clear
