"""Promise 2: who did the work never confirms it; a danger is lifted by confirmation alone."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from inspections.models import Defect
from inspections.services.defects import (
    NotAllowed,
    defect_claim_done,
    defect_confirm,
    defect_record,
    nothing_found,
)
from portfolio.law import model as law
from portfolio.models import Unit
from tests.factories import DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


@pytest.fixture
def home(agency):
    return make_home(agency)


@pytest.fixture
def defect(home, inspector):
    return record(home, inspector)


def record(home, actor, **changes):
    facts = {
        "scheme": "bs7671",
        "code": "C1",
        "title": "Bare live part",
        "found": date(2026, 11, 20),
    } | changes
    return defect_record(home.pk, **facts, actor=actor, moment=at())


def let_clear(home) -> bool:
    return Unit.objects.get(pk=home.pk).standing.let_clear


def test_claiming_the_work_done_does_not_lift_the_bar(home, defect, agency):
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=make_user(agency), moment=at())
    assert not let_clear(home)


def test_a_second_person_confirms_and_the_bar_lifts(home, defect, agency, inspector):
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=make_user(agency), moment=at())
    defect_confirm(defect.pk, actor=inspector, moment=at())
    assert let_clear(home)


def test_an_inspector_who_claimed_the_work_cannot_confirm_it(defect, inspector):
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=inspector, moment=at())
    with pytest.raises(NotAllowed, match="somebody else"):
        defect_confirm(defect.pk, actor=inspector, moment=at())


@pytest.mark.parametrize("role", ["agent", "landlord"])
def test_only_an_inspector_confirms(defect, agency, inspector, role):
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=inspector, moment=at())
    with pytest.raises(NotAllowed):
        defect_confirm(defect.pk, actor=make_user(agency, role), moment=at())


def test_work_nobody_claimed_cannot_be_confirmed(defect, inspector):
    with pytest.raises(NotAllowed):
        defect_confirm(defect.pk, actor=inspector, moment=at())


def test_what_is_confirmed_stays_confirmed(defect, agency, inspector):
    agent = make_user(agency)
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=agent, moment=at())
    defect_confirm(defect.pk, actor=inspector, moment=at())
    with pytest.raises(NotAllowed):
        defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=inspector, moment=at())
    with pytest.raises(NotAllowed):
        defect_confirm(defect.pk, actor=inspector, moment=at())


@pytest.mark.parametrize("on", [date(2026, 11, 19), date(2026, 11, 26)])
def test_work_done_before_it_was_found_or_in_the_future_is_refused(defect, agency, on):
    with pytest.raises(ValidationError):
        defect_claim_done(defect.pk, on=on, work="accessory_swap", actor=make_user(agency), moment=at())


def test_work_done_on_the_day_it_was_found_is_taken(defect, agency):
    defect_claim_done(
        defect.pk, on=date(2026, 11, 20), work="accessory_swap", actor=make_user(agency), moment=at()
    )


@pytest.mark.parametrize(
    "wrong", [{"code": "ID"}, {"scheme": "nonsense"}, {"found": date(2026, 11, 26)}, {"code": ""}]
)
def test_a_wrong_code_or_day_is_refused_and_nothing_stored(home, inspector, wrong):
    with pytest.raises(ValidationError):
        record(home, inspector, **wrong)
    assert not Defect.objects.exists()


def test_a_room_of_another_home_is_refused(agency, home, inspector):
    other = make_home(agency)
    with pytest.raises(ValidationError):
        record(home, inspector, room=other.rooms.first())


def test_the_database_refuses_the_same_person_as_doer_and_confirmer(defect, inspector):
    with pytest.raises(IntegrityError), transaction.atomic():
        Defect.objects.filter(pk=defect.pk).update(completed_by=inspector, confirmed_by=inspector)


def test_a_defect_that_was_recorded_cannot_be_deleted_with_its_home(home, defect):
    from django.db.models import ProtectedError

    with pytest.raises(ProtectedError):
        home.delete()


def test_a_home_nobody_looked_over_is_barred_until_somebody_says_so(agency, inspector):
    home = make_home(agency, defects=None)
    assert not let_clear(home)
    nothing_found(home.pk, actor=inspector, moment=at())
    assert let_clear(home)


def test_history_keeps_every_state(defect, agency, inspector):
    agent = make_user(agency)
    defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=agent, moment=at())
    defect_confirm(defect.pk, actor=inspector, moment=at())
    states = defect.history.order_by("history_id").values_list("completed", "confirmed", "history_user")
    assert list(states) == [(None, None, inspector.pk), (DAY, None, agent.pk), (DAY, DAY, inspector.pk)]


def test_who_brought_in_that_the_work_is_done_does_not_confirm_it():
    agency = make_agency()
    inspector, other = make_user(agency, "inspector"), make_user(agency, "inspector")
    done = law.Defect("d1", "bs7671", "C2", "Loose", date(2026, 11, 1), completed=date(2026, 11, 2))
    defect = make_home(agency, inspector, defects=(done,)).defects.get()
    with pytest.raises(NotAllowed, match="somebody else"):
        defect_confirm(defect.pk, actor=inspector, moment=at())
    with pytest.raises(NotAllowed, match="Say what kind of work"):
        defect_confirm(defect.pk, actor=other, moment=at())
    said = defect_confirm(defect.pk, work="small_electrical", actor=other, moment=at())
    assert (said.confirmed, said.work) == (DAY, "small_electrical")
