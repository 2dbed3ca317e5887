"""What a repair has to bring back before it is confirmed, who may judge it, and who is told."""

from copy import deepcopy
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from inspections.models import Contractor, Evidence, Job, JobItem
from inspections.services.defects import (
    NotAllowed,
    defect_claim_done,
    defect_confirm,
    defect_made_safe,
    defect_recode,
    defect_record,
    defect_send_back,
)
from inspections.services.evidence import evidence_add, evidence_withdraw
from notifications.models import Message
from portfolio.documents.proof import Accepted
from portfolio.law import model as law
from portfolio.models import Certificate
from portfolio.services.certificates import certificate_add
from tests.factories import DAY, at, make_agency, make_home, make_user

pytestmark = pytest.mark.django_db
FOUND = date(2026, 11, 20)
PAPER = Accepted(b"%PDF-invented", "application/pdf", "minor.pdf", "a" * 64)


@pytest.fixture(scope="module")
def common(in_common):
    agency = make_agency()
    return agency, make_user(agency), make_user(agency, "inspector"), make_home(agency)


@pytest.fixture
def agency(common):
    return deepcopy(common[0])


@pytest.fixture
def agent(common):
    return deepcopy(common[1])


@pytest.fixture
def inspector(common):
    return deepcopy(common[2])


@pytest.fixture
def home(common):
    return deepcopy(common[3])


@pytest.fixture
def defect(home, inspector):
    return record(home, inspector)


def record(home, actor, **changes):
    facts = {"scheme": "bs7671", "code": "C2", "title": "No RCD", "found": FOUND} | changes
    return defect_record(home.pk, **facts, actor=actor, moment=at())


def done(defect, actor, work="rcd_added", **more):
    return defect_claim_done(defect.pk, on=FOUND, work=work, actor=actor, moment=at(), **more)


def proof(defect, actor, *, dated=FOUND, paper="minor_works", stage="after", file=PAPER):
    return evidence_add(
        defect.pk, key=uuid4(), stage=stage, accepted=file, paper=paper, number="MW-1", dated=dated, actor=actor,
        moment=at(),
    )  # fmt: skip


def confirm(defect, actor, **more):
    return defect_confirm(defect.pk, actor=actor, moment=at(), **more)


def test_work_that_leaves_a_paper_is_not_confirmed_without_it(defect, agent, inspector):
    done(defect, agent)
    with pytest.raises(NotAllowed, match="minor works certificate"):
        confirm(defect, inspector)
    proof(defect, agent)
    assert confirm(defect, inspector).confirmed == DAY


def test_or_without_it_for_a_reason_that_is_kept(defect, agent, inspector):
    done(defect, agent)
    assert confirm(defect, inspector, no_paper_why="The firm is gone.").no_paper_why == "The firm is gone."
    assert "The firm is gone." in defect.unit.events.get(verb="defect.confirmed").says


@pytest.mark.parametrize(
    ("changes", "counts"),
    [
        ({"dated": FOUND - timedelta(days=1)}, False),
        ({"dated": FOUND}, True),
        ({"stage": "before"}, False),
        ({"paper": "eic"}, True),
        ({"paper": "pat"}, False),
    ],
)
def test_which_paper_is_proof_of_the_work(defect, agent, inspector, changes, counts):
    done(defect, agent)
    proof(defect, agent, **changes)
    if counts:
        assert confirm(defect, inspector).confirmed
    else:
        with pytest.raises(NotAllowed, match="has not come back"):
            confirm(defect, inspector)


def test_a_paper_that_was_withdrawn_is_no_proof(defect, agent, inspector):
    done(defect, agent)
    evidence_withdraw(proof(defect, agent).pk, why="Of another home.", actor=agent, moment=at())
    with pytest.raises(NotAllowed):
        confirm(defect, inspector)
    assert not Certificate.objects.filter(kind="minor_works").exists()


@pytest.mark.parametrize(("issued", "counts"), [(-1, False), (0, True), (1, True)])
def test_a_paper_the_home_has_since_the_day_of_the_work_will_do(
    home, defect, agent, inspector, issued, counts
):
    paper = law.Certificate("", "minor_works", issued=FOUND + timedelta(days=issued))
    certificate_add(home.pk, paper, actor=agent, moment=at())
    done(defect, agent)
    if counts:
        assert confirm(defect, inspector).confirmed
    else:
        with pytest.raises(NotAllowed):
            confirm(defect, inspector)


def test_the_record_that_found_a_gas_defect_is_not_its_repair(home, agent, inspector):
    paper = law.Certificate("g9", "gas_safety_record", inspected=FOUND)
    row = certificate_add(home.pk, paper, actor=agent, moment=at())
    defect = record(home, agent, scheme="igem_g11", code="AR", title="Flue", certificate=row)
    done(defect, agent, work="gas_check")
    with pytest.raises(NotAllowed, match="gas safety record"):
        confirm(defect, inspector)


def test_a_paper_becomes_one_of_the_home_once_for_all_the_defects_it_is_of(home, defect, agent, inspector):
    other = record(home, inspector, title="Another circuit without RCD")
    for one in (defect, other):
        done(one, agent)
        proof(one, agent)
        confirm(one, inspector)
    kept = Certificate.objects.get(kind="minor_works")
    assert (kept.unit, kept.number, kept.issued) == (home, "MW-1", FOUND)
    assert kept.documents.get().sha256 == PAPER.sha256
    assert Evidence.objects.count() == 2


def test_nobody_confirms_work_of_which_the_kind_is_not_known(defect, agent, inspector):
    done(defect, agent, work="")
    with pytest.raises(NotAllowed, match="Say what kind of work"):
        confirm(defect, inspector, no_paper_why="Lost.")
    with pytest.raises(ValidationError):
        confirm(defect, inspector, work="magic")
    assert confirm(defect, inspector, work="small_electrical").work == "small_electrical"


def test_the_kind_of_work_somebody_said_is_not_changed_by_who_confirms_it(defect, agent, inspector):
    done(defect, agent)
    with pytest.raises(ValidationError, match="send the proof back"):
        confirm(defect, inspector, work="small_electrical")


def test_what_nobody_said_is_not_taken(defect):
    with pytest.raises(ValidationError, match="who says so"):
        done(defect, None)
    with pytest.raises(ValidationError, match="who says so"):
        defect_made_safe(defect.pk, on=FOUND, how="Switched off.", actor=None, moment=at())


def test_a_contractor_of_another_agency_is_refused(defect, agent):
    stranger = Contractor.objects.create(agency=make_agency(), name="Stranger", email="s@example.org")
    with pytest.raises(ValidationError, match="another agency"):
        done(defect, agent, contractor=stranger)


def test_the_job_closes_with_the_last_of_its_defects(agency, home, defect, agent, inspector):
    firm = Contractor.objects.create(agency=agency, name="Sparks", email="sparks@example.org")
    job = Job.objects.create(agency=agency, number=1, contractor=firm, sent_at=at().at, sent_by=agent)
    other = record(home, inspector)
    for one in (defect, other):
        JobItem.objects.create(job=job, defect=one)
        done(one, agent, work="small_electrical")
    confirm(defect, inspector)
    job.refresh_from_db()
    assert job.closed_at is None
    confirm(other, inspector)
    job.refresh_from_db()
    assert job.closed_at is not None
    assert not JobItem.objects.filter(ended_at=None).exists()


def test_classing_otherwise_makes_it_the_work_of_that_trade(home, agent, inspector):
    defect = record(home, agent, scheme="other", code="danger", trade="gas", suspected=True)
    defect_recode(defect.pk, scheme="bs7671", code="C2", why="It is wiring.", actor=inspector, moment=at())
    defect.refresh_from_db()
    assert (defect.scheme, defect.trade, defect.suspected) == ("bs7671", "electrical", False)


@pytest.mark.parametrize("suspected", [False, True])
def test_nobody_but_a_gas_engineer_gives_a_gas_class(home, agent, suspected):
    with pytest.raises(ValidationError, match="gas engineer"):
        record(home, agent, scheme="igem_g11", code="ID", suspected=suspected)


def told(kind):
    return {message.to_email: message for message in Message.objects.filter(kind=kind)}


def test_a_danger_is_told_at_once_to_agents_and_landlord(agency, agent, inspector):
    home = make_home(agency)
    home.landlord.email = "owner@example.org"
    home.landlord.save()
    log_in = make_user(agency, "landlord", landlord=home.landlord)
    make_user(agency, "landlord", landlord=make_home(agency, landlord_ref="L-2").landlord)
    make_user(make_agency())
    make_user(agency, is_active=False)
    defect = record(home, inspector, code="C1", title="Bare <live> part & burning")
    found = told("danger")
    assert set(found) == {agent.email, log_in.email, "owner@example.org"}
    message = found[agent.email]
    assert message.urgent
    assert message.key == f"danger:{defect.pk}:{agent.pk}"
    assert message.subject.startswith("Danger: Bare <live> part & burning")
    first = message.text.splitlines()[0]
    assert "999" in first
    assert "Bare <live> part & burning" in message.text
    assert "Bare &lt;live&gt; part" in message.html
    assert f"/defects/{defect.pk}/" in message.text


@pytest.mark.parametrize(
    ("scheme", "code", "trade", "is_told"),
    [
        ("bs7671", "C1", None, True),
        ("bs7671", "C2", None, False),
        ("other", "danger", "gas", True),
        ("fire", "intolerable", None, True),
        ("hhsrs", "cat1", None, False),
    ],
)
def test_only_what_cannot_wait_is_told_at_once(home, agent, scheme, code, trade, is_told):
    record(home, agent, scheme=scheme, code=code, trade=trade, suspected=trade == "gas")
    assert bool(told("danger")) is is_told


def test_what_is_classed_as_a_danger_later_is_told_too(home, defect, agent, inspector):
    defect_recode(defect.pk, scheme="bs7671", code="C1", why="It sparks.", actor=inspector, moment=at())
    assert set(told("danger")) == {agent.email}


def test_the_last_bar_that_goes_is_told_to_agents_once(agency, home, defect, agent, inspector):
    other = record(home, inspector)
    for one in (defect, other):
        done(one, agent, work="small_electrical")
    confirm(defect, inspector)
    assert not told("home_clear")
    confirm(other, inspector)
    message = told("home_clear")[agent.email]
    assert "to let and for sale" in message.text.splitlines()[0]
    assert not home.clearances.exists()


def test_a_home_that_stays_barred_by_something_else_is_not_told_as_clear(agency, agent, inspector):
    home = make_home(agency, certificates=())
    defect = record(home, inspector)
    done(defect, agent, work="small_electrical")
    confirm(defect, inspector)
    assert not told("home_clear")


def test_proof_that_is_sent_back_is_told_to_who_said_so_and_to_the_contractor(
    agency, defect, agent, inspector
):
    firm = Contractor.objects.create(agency=agency, name="Sparks", email="sparks@example.org")
    done(defect, agent, contractor=firm)
    defect_send_back(defect.pk, why="Photo of the board, please.", actor=inspector, moment=at())
    found = told("sent_back")
    assert set(found) == {agent.email, "sparks@example.org"}
    assert all("Photo of the board, please." in one.text.splitlines()[0] for one in found.values())
    assert "/defects/" not in found["sparks@example.org"].text
    done(defect, agent, contractor=firm)
    defect_send_back(defect.pk, why="Again.", actor=inspector, moment=at())
    assert Message.objects.filter(kind="sent_back").count() == 4
