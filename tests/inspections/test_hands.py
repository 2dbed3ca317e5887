"""Ways round the second person: what has a hand in the work stays so, however records are changed later."""

from datetime import date, timedelta
from importlib import import_module

import pytest
from django.apps import apps

from inspections.models import Contractor, Defect
from inspections.services.defects import (
    NotAllowed,
    defect_claim_done,
    defect_confirm,
    defect_describe,
    defect_made_safe,
    defect_recode,
    defect_record,
)
from inspections.services.jobs import job_send, job_take_back
from inspections.services.people import contractor_save
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.inspections.job_cases import FOUND, make_firm

pytestmark = pytest.mark.django_db
LATER = DAY + timedelta(days=7)


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


def record(agency, actor, **facts):
    told = {"scheme": "bs7671", "code": "C2", "title": "Loose socket", "found": FOUND} | facts
    return defect_record(make_home(agency).pk, **told, actor=actor, moment=at())


def change(firm, actor, moment=None, **changes):
    told = {"name": firm.name, "email": firm.email, "trades": firm.trades, "people": ()} | changes
    return contractor_save(firm.pk, **told, actor=actor, moment=moment or at())


def claim(defect, actor=None, contractor=None, work="accessory_swap"):
    return defect_claim_done(defect.pk, on=DAY, work=work, actor=actor, contractor=contractor, moment=at())


def test_who_was_tied_when_the_work_was_done_does_not_confirm_it_when_untied(agency, agent, inspector):
    firm = make_firm(agency)
    change(firm, agent, people=[inspector])
    defect = claim(record(agency, agent), contractor=firm)
    change(firm, agent, at(LATER))
    for step in (
        lambda: defect_confirm(defect.pk, actor=inspector, moment=at(LATER)),
        lambda: defect_recode(
            defect.pk, scheme="bs7671", code="C3", why="Less.", actor=inspector, moment=at(LATER)
        ),
    ):
        with pytest.raises(NotAllowed, match="work for the contractor"):
            step()
    assert defect_confirm(defect.pk, actor=make_user(agency, "inspector"), moment=at(LATER)).confirmed


def test_nor_who_shared_its_address_then(agency, agent, inspector):
    firm = make_firm(agency)
    change(firm, agent, email=inspector.email.upper())
    defect = record(agency, agent)
    job, _ = job_send(firm.pk, [defect.pk], actor=agent, moment=at())
    job_take_back(job.pk, why="Somebody else.", actor=agent, moment=at())
    change(firm, agent, at(LATER), email="office@example.org")
    claim(defect, agent)
    with pytest.raises(NotAllowed, match="work for the contractor"):
        defect_confirm(defect.pk, actor=inspector, moment=at(LATER))


def test_a_tie_that_ended_before_the_defect_was_found_is_no_hand_in_it(agency, agent, inspector):
    firm = make_firm(agency)
    long_ago = at(date(2025, 1, 6))
    change(firm, agent, long_ago, people=[inspector])
    change(firm, agent, at(date(2026, 3, 2)))
    defect = claim(record(agency, agent), contractor=firm)
    assert defect_confirm(defect.pk, actor=inspector, moment=at()).confirmed == DAY


def test_what_is_said_to_be_done_is_not_said_again_over_it(agency, agent):
    """Another kind of work may leave no paper, and another contractor ties nobody."""
    firm = make_firm(agency)
    defect = claim(record(agency, agent), contractor=firm, work="rcd_added")
    owner = make_user(agency, "landlord", landlord=defect.unit.landlord)
    with pytest.raises(NotAllowed, match="said to be done already"):
        claim(defect, owner)
    kept = Defect.objects.get(pk=defect.pk)
    assert (kept.work, kept.completed_for, kept.completed_by) == ("rcd_added", firm, None)


@pytest.mark.parametrize("scheme", ["bs7671", "other"])
@pytest.mark.parametrize("trade", ["distributor", "other", None])
def test_electrical_work_is_not_described_away_from_who_is_registered_for_it(agency, agent, scheme, trade):
    code = "C2" if scheme == "bs7671" else "danger"
    defect = record(agency, agent, scheme=scheme, code=code, trade="electrical")
    kept = {"title": "Loose socket", "room": None, "place": "", "note": ""}

    def describe(actor):
        return defect_describe(defect.pk, **kept, trade=trade, actor=actor, moment=at())

    if scheme == "bs7671" and trade != "distributor":
        assert describe(agent).trade == trade  # its scheme still asks for an electrician
        return
    with pytest.raises(NotAllowed, match="registered"):
        describe(agent)
    assert describe(make_user(agency, "inspector")).trade == trade


def test_no_contractor_is_tied_by_chance(agency, agent, inspector):
    other = make_firm(agency, "Sparks")
    change(other, agent, people=[inspector])
    defect = claim(record(agency, agent), contractor=make_firm(agency))
    assert defect_confirm(defect.pk, actor=inspector, moment=at()).confirmed == DAY
    assert Contractor.objects.count() == 2


def make_safe(defect, actor=None, contractor=None):
    return defect_made_safe(
        defect.pk, on=DAY, how="Switched off.", actor=actor, contractor=contractor, moment=at()
    )


def test_who_made_it_safe_for_now_does_not_confirm_it_whoever_did_so_again_later(agency, agent, inspector):
    defect = record(agency, agent)
    make_safe(defect, inspector)
    make_safe(defect, agent)
    claim(defect, agent)
    for step in (
        lambda: defect_confirm(defect.pk, actor=inspector, moment=at()),
        lambda: defect_recode(
            defect.pk, scheme="bs7671", code="C3", why="Less.", actor=inspector, moment=at()
        ),
    ):
        with pytest.raises(NotAllowed, match="made safe for now, so somebody else has to confirm it"):
            step()
    assert defect_confirm(defect.pk, actor=make_user(agency, "inspector"), moment=at()).confirmed == DAY


def test_nor_who_is_paid_by_the_contractor_that_made_it_safe(agency, agent, inspector):
    firm = make_firm(agency)
    change(firm, agent, people=[inspector])
    defect = record(agency, agent)
    make_safe(defect, contractor=firm)
    claim(defect, agent)
    with pytest.raises(NotAllowed, match="work for the contractor"):
        defect_confirm(defect.pk, actor=inspector, moment=at())


def test_who_made_it_safe_before_that_was_kept_is_found_in_the_record(agency, agent, inspector):
    """As the migration fills it, for the defect and each of its earlier states."""
    firm, defect = make_firm(agency), record(agency, agent)
    make_safe(defect, inspector)
    defect_made_safe(defect.pk, on=DAY, how="Off.", actor=None, contractor=firm, moment=at(LATER))
    for rows in (Defect.objects, Defect.history):
        rows.update(made_safe_by=None, made_safe_for=None)
    import_module("inspections.migrations.0005_fill_made_safe_by").fill(apps, None)
    defect.refresh_from_db()
    assert (defect.made_safe_by, defect.made_safe_for) == (None, firm)
    told = Defect.history.order_by("history_date", "history_id").values_list("made_safe_by", "made_safe_for")
    assert list(told) == [(None, None), (inspector.pk, None), (None, firm.pk)]
