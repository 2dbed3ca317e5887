"""Taking a portfolio in: all or nothing, nothing destroyed, dangers not lifted by a file."""

from dataclasses import replace
from datetime import date

import pytest

from portfolio.facts import facts_of, portfolio_of
from portfolio.law import model as law
from portfolio.models import Alarm, Certificate, Event, Unit
from portfolio.services.take_in import Refused, check, compare, take_in
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, clear_portfolio, make_agency, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    return make_agency()


def stored(agency) -> law.Unit:
    return facts_of([Unit.objects.get(agency=agency).pk])[Unit.objects.get(agency=agency).pk][1]


def taken(agency, **changes):
    return take_in(clear_portfolio(**changes), agency=agency, actor=None, moment=at())


def test_what_goes_in_comes_out(agency):
    portfolio = clear_portfolio(
        defects=(law.Defect("d1", "bs7671", "C2", "Loose socket", date(2026, 11, 1), certificate="e1"),),
        tenancies=(law.Tenancy("t1", date(2026, 1, 1), date(2026, 2, 1)),),
        marketing=(law.Marketing("let", date(2026, 11, 1)),),
    )
    ids = take_in(portfolio, agency=agency, actor=None, moment=at()).unit_ids
    assert portfolio_of(ids) == portfolio


def test_taking_in_twice_changes_nothing(agency):
    taken(agency)
    events = Event.objects.count()
    again = taken(agency)
    assert (again.created, again.changed, again.same) == (0, 0, 1)
    assert Event.objects.count() == events


def test_what_a_file_does_not_record_leaves_what_is_stored(agency):
    taken(agency)
    sparse = law.Unit("flat-2", "tannery-row-9", label="Flat Two")
    take_in(
        law.Portfolio((law.Building("tannery-row-9"),), (sparse,)), agency=agency, actor=None, moment=at()
    )
    assert stored(agency) == replace(CLEAR_FLAT, label="Flat Two")


def test_a_new_paper_is_added_beside_the_old_ones(agency):
    taken(agency)
    new = law.Certificate("p2", "epc", registered=date(2026, 11, 1), rating="B")
    taken(agency, certificates=(new,))
    assert stored(agency).certificates == (*CLEAR_FLAT.certificates, new)


def test_a_stored_paper_is_never_overwritten(agency):
    taken(agency)
    moved = replace(CLEAR_FLAT.certificates[0], inspected=date(2026, 3, 14))
    with pytest.raises(Refused) as refused:
        taken(agency, label="New name", certificates=(moved,))
    (fault,) = refused.value.faults
    assert fault.path == "/units/0/certificates/0/inspected"
    assert stored(agency) == CLEAR_FLAT


@pytest.mark.parametrize("field", ["made_safe", "completed", "confirmed"])
def test_a_file_cannot_lift_a_danger_that_is_held(agency, field):
    danger = law.Defect("d1", "bs7671", "C1", "Bare live part", date(2026, 11, 1))
    taken(agency, defects=(danger,))
    with pytest.raises(Refused):
        taken(agency, defects=(replace(danger, **{field: date(2026, 11, 2)}),))
    assert stored(agency).defects == (danger,)


@pytest.mark.parametrize("field", ["certificate", "title"])
def test_a_file_adds_nothing_to_a_defect_that_is_held(agency, field):
    danger = law.Defect("d1", "bs7671", "C1", found=date(2026, 11, 1))
    taken(agency, defects=(danger,))
    with pytest.raises(Refused, match=field):
        taken(agency, defects=(replace(danger, **{field: "e1"}),))
    assert stored(agency).defects == (danger,)


def test_a_file_cannot_end_a_paper_that_is_held(agency):
    taken(agency, certificates=(UNSATISFACTORY,))
    with pytest.raises(Refused, match="withdrawn"):
        taken(agency, certificates=(replace(UNSATISFACTORY, withdrawn=DAY),))
    assert stored(agency).certificates == (UNSATISFACTORY,)


BOILER = CLEAR_FLAT.appliances[0]
FAILED = law.Certificate(
    "g1",
    "gas_safety_record",
    inspected=date(2026, 11, 2),
    appliances=(law.ApplianceCheck("boiler", "id"),),
)
UNSATISFACTORY = law.Certificate("e1", "eicr", inspected=date(2026, 3, 14), outcome="unsatisfactory")


@pytest.mark.parametrize(
    "boiler",
    [
        replace(BOILER, installed=DAY),
        replace(BOILER, owner="tenant"),
        replace(BOILER, kind="oil_boiler"),
    ],
)
def test_a_file_cannot_say_away_what_a_danger_was_found_in(agency, boiler):
    taken(agency, certificates=(FAILED,))
    with pytest.raises(Refused, match="danger.*failed its last gas check"):
        taken(agency, certificates=(FAILED,), appliances=(boiler,), label="New")
    assert stored(agency).appliances == (BOILER,)


def test_a_file_with_a_newer_paper_may_tell_of_the_change_too(agency):
    taken(agency, certificates=(FAILED,))
    newer = law.Certificate(
        "g2", "gas_safety_record", inspected=DAY, appliances=(law.ApplianceCheck("boiler", "safe"),)
    )
    taken(agency, certificates=(newer,), appliances=(replace(BOILER, owner="tenant"),))
    assert stored(agency).appliances[0].owner == "tenant"


def test_a_file_cannot_move_a_neighbour_out_of_the_law_that_bars_it(agency):
    taken(agency, landlord="registered_provider", certificates=(UNSATISFACTORY,))
    moved = law.Portfolio((replace(BUILDING, nation="scotland"),), (replace(CLEAR_FLAT, ref="flat-3"),))
    with pytest.raises(Refused, match="neighbour 'flat-2'"):
        take_in(moved, agency=agency, actor=None, moment=at())
    assert Unit.objects.count() == 1


def test_leaving_a_danger_out_of_a_file_does_not_lift_it(agency):
    danger = law.Defect("d1", "bs7671", "C1", "Bare live part", date(2026, 11, 1))
    taken(agency, defects=(danger,))
    taken(agency, defects=(), label="Flat 2A")
    assert stored(agency).defects == (danger,)


def test_a_danger_in_a_file_withdraws_a_mark(agency):
    from portfolio import gate

    taken(agency)
    home = Unit.objects.get(agency=agency)
    clearance = gate.mark(home.pk, "let", actor=make_user(agency), moment=at())
    taken(agency, defects=(law.Defect("d1", "igem_g11", "ID", "Boiler spills", DAY),))
    clearance.refresh_from_db()
    assert clearance.withdrawn_at is not None


def test_a_changed_building_asks_again_for_its_other_homes(agency):
    taken(agency)
    other = replace(CLEAR_FLAT, ref="flat-3", certificates=CLEAR_FLAT.certificates)
    moved = law.Portfolio((replace(BUILDING, nation="scotland"),), (other,))
    take_in(moved, agency=agency, actor=None, moment=at())
    assert not Unit.objects.get(ref="flat-2").standing.sale_clear


def test_a_changed_alarm_is_changed_and_its_history_kept(agency):
    taken(agency)
    flat = replace(CLEAR_FLAT.alarms[0], working=False)
    taken(agency, alarms=(flat,))
    alarm = Alarm.objects.get(ref="s1")
    assert alarm.working is False
    assert [h.working for h in alarm.history.order_by("history_id")] == [True, False]


def test_compare_says_what_would_happen_and_stores_nothing(agency):
    taken(agency)
    portfolio = law.Portfolio(
        (BUILDING,), (replace(CLEAR_FLAT, label="Flat Two"), replace(CLEAR_FLAT, ref="new"))
    )
    states = {ref: (merge.state, merge.changes) for ref, merge in compare(portfolio, agency=agency).items()}
    assert states["flat-2"] == ("changed", ["label"])
    assert states["new"][0] == "new"
    assert check(portfolio, agency=agency, day=DAY) == []
    assert Unit.objects.count() == 1


def test_the_same_refs_in_two_agencies_do_not_meet(agency):
    taken(agency)
    other = make_agency()
    assert taken(other).created == 1
    assert Certificate.objects.filter(unit__agency=other).count() == len(CLEAR_FLAT.certificates)


def test_a_failure_half_way_stores_nothing(agency):
    from django.core.exceptions import ValidationError

    wrong = replace(CLEAR_FLAT, ref="flat-9", certificates=(law.Certificate("x", "no such kind"),), events=())
    with pytest.raises(ValidationError):
        take_in(law.Portfolio((BUILDING,), (CLEAR_FLAT, wrong)), agency=agency, actor=None, moment=at())
    assert Unit.objects.count() == 0
