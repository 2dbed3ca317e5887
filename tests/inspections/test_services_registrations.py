"""Who may be sent what: trades and registrations on the day before, the day and the day after."""

from datetime import date, timedelta

import pytest

from inspections.models import Defect, Registration
from inspections.services.registrations import holds, registrations_needed, warnings, why_not_send
from tests.factories import DAY, make_agency
from tests.inspections.job_cases import make_defects, make_firm

pytestmark = pytest.mark.django_db


@pytest.fixture
def agency():
    return make_agency()


@pytest.mark.parametrize(
    ("day", "said"),
    [(DAY - timedelta(1), []), (DAY, []), (DAY + timedelta(1), ["ended on 25 Nov 2026"])],
)
def test_electrical_work_needs_a_registration_that_holds_on_the_day(agency, day, said):
    firm, defects = make_firm(agency, electrical=DAY), make_defects(agency, "C2")
    found = why_not_send(firm, defects, day)
    assert len(found) == len(said)
    for sentence, part in zip(found, said, strict=True):
        assert part in sentence
        assert "Fault 1" in sentence
        assert "Record its renewal" in sentence


def test_each_defect_and_reason_is_named(agency):
    firm = make_firm(agency, "Pipes", "plumbing", insurance=None)
    said = why_not_send(firm, make_defects(agency, "C1", "C2"), DAY)
    assert len(said) == 4
    assert [("Fault 1" in one, "Fault 2" in one) for one in said] == [(True, False)] * 2 + [(False, True)] * 2
    assert "not recorded to do" in said[0]
    assert "no “Electrical competent-person scheme” of Pipes is on record" in said[1]


def test_a_last_day_that_is_not_recorded_proves_nothing(agency):
    firm = make_firm(agency, electrical=None)
    (said,) = why_not_send(firm, make_defects(agency, "C2"), DAY)
    assert "its last good day is not recorded" in said


def test_gas_needs_a_gas_registration_whoever_saw_it(agency):
    suspected = {"scheme": "other", "code": "danger", "trade": "gas", "suspected": True}
    defects = make_defects(agency, "C1", **suspected)
    assert "gas work" in why_not_send(make_firm(agency, "Wire", "electrical", "gas"), defects, DAY)[0]
    assert "not recorded to do" in why_not_send(make_firm(agency), defects, DAY)[0]
    assert why_not_send(make_firm(agency, "Flame", "gas", gas=DAY), defects, DAY) == []


@pytest.mark.parametrize(
    ("withdrawn", "refused"), [(DAY - timedelta(1), 1), (DAY, 1), (DAY + timedelta(1), 0)]
)
def test_a_withdrawn_registration_counts_until_the_day_before(agency, withdrawn, refused):
    firm = make_firm(agency)
    firm.registrations.filter(kind="electrical").update(withdrawn=withdrawn)
    assert len(why_not_send(firm, make_defects(agency, "C2"), DAY)) == refused


def test_one_registration_that_holds_is_enough_beside_one_that_lapsed(agency):
    firm = make_firm(agency, electrical=date(2020, 1, 1))
    Registration.objects.create(contractor=firm, kind="electrical", until=DAY)
    assert why_not_send(firm, make_defects(agency, "C2"), DAY) == []


@pytest.mark.parametrize(("ended", "refused"), [(DAY - timedelta(1), 1), (DAY, 1), (DAY + timedelta(1), 0)])
def test_a_firm_no_longer_used_gets_nothing(agency, ended, refused):
    firm = make_firm(agency)
    firm.ended = ended
    assert len(why_not_send(firm, make_defects(agency, "C2"), DAY)) == refused


def test_a_defect_of_no_known_trade_is_refused_with_the_cure(agency):
    defects = make_defects(agency, "C1", scheme="other", code="repair", trade=None)
    (said,) = why_not_send(make_firm(agency), defects, DAY)
    assert "Say it on the page of the defect first" in said


def test_damp_goes_to_whoever_usually_mends_it(agency):
    defects = make_defects(agency, "C1", scheme="damp_mould", code="minor")
    assert why_not_send(make_firm(agency, "Dry", "ventilation", insurance=None), defects, DAY) == []


@pytest.mark.parametrize(
    ("scheme", "trade", "needed"),
    [
        ("bs7671", None, ("electrical",)),
        ("bs7671", "appliance", ("electrical",)),
        ("bs7671", "distributor", ()),
        ("bs7671", "gas", ("gas",)),
        ("other", "electrical", ("electrical",)),
        ("igem_g11", None, ("gas",)),
        ("igem_g11", "electrical", ("gas", "electrical")),
        ("other", "gas", ("gas",)),
        ("fire", "fire", ()),
    ],
)
def test_which_registrations_a_defect_asks_for(scheme, trade, needed):
    assert registrations_needed(Defect(scheme=scheme, trade=trade)) == needed


@pytest.mark.parametrize(
    ("until", "said"),
    [(None, "has no last good day on record"), (DAY - timedelta(1), "ended on 24 Nov 2026"), (DAY, "")],
)
def test_insurance_is_said_and_stops_nothing(agency, until, said):
    firm = make_firm(agency, electrical=DAY, insurance=until)
    assert why_not_send(firm, make_defects(agency, "C2"), DAY) == []
    found = " ".join(warnings(firm, DAY))
    assert said in found
    assert bool(found) is bool(said)


def test_what_was_never_recorded_or_looked_up_is_said(agency):
    firm = make_firm(agency)
    firm.registrations.filter(kind="insurance").delete()
    firm.registrations.update(checked_on=None)
    said = " ".join(warnings(firm, DAY))
    assert "No liability insurance" in said
    assert "not looked up in its register" in said


@pytest.mark.parametrize(("days", "code"), [(-1, "lapsed"), (0, "soon"), (30, "soon"), (31, "current")])
def test_a_registration_that_ends_soon_is_told(days, code):
    assert holds(Registration(kind="gas", until=DAY + timedelta(days)), DAY).code == code
