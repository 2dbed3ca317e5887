"""A paper that came as proof says little: whoever may is led to the page where it is completed."""

import hashlib
import re
from datetime import date
from uuid import uuid4

import pytest
from django.urls import reverse

from inspections.services.defects import defect_claim_done, defect_confirm
from inspections.services.evidence import evidence_add
from portfolio.documents.proof import Accepted
from portfolio.law import model as law
from portfolio.models import Certificate
from tests.factories import DAY, at, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]
FOUND = date(2026, 11, 20)
WANTING = {
    "gas_safety_record": "what it found of each appliance",
    "eicr": "whether it was satisfactory",
    "minor_works": "",
}


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def inspector(agency):
    return make_user(agency, "inspector")


def repaired(agency, agent, kind):
    """A defect whose work is said to be done, with a paper of this kind as proof."""
    found = law.Defect("d1", "bs7671", "C2", "Loose socket", FOUND)
    defect = make_home(agency, defects=(found,)).defects.get()
    content = f"%PDF- invented {kind}".encode()
    file = Accepted(content, "application/pdf", "paper.pdf", hashlib.sha256(content).hexdigest())
    evidence_add(
        defect.pk, key=uuid4(), stage="after", accepted=file, paper=kind, number="N-1", dated=DAY, actor=agent,
        moment=at(),
    )  # fmt: skip
    return defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=agent, moment=at())


def text(user, name, *args):
    response = signed_in(user).get(reverse(name, args=args))
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split()), response.content.decode()


@pytest.mark.parametrize(("kind", "says"), WANTING.items())
def test_what_has_to_be_completed_is_said_before_and_after_the_confirmation(
    agency, agent, inspector, kind, says
):
    defect = repaired(agency, agent, kind)
    before, _ = text(inspector, "defect", defect.pk)
    assert ("When the work is confirmed, this becomes" in before) is bool(says)
    assert f"Not recorded: {says}." in before or not says
    defect_confirm(defect.pk, no_paper_why="The other paper will do.", actor=inspector, moment=at())
    paper = Certificate.objects.get(kind=kind, number="N-1")
    complete = reverse("certificate_correct", args=[paper.pk])
    for name, *args in (("defect", defect.pk), ("proof",), ("home", defect.unit_id)):
        for who in (agent, inspector):
            said, page = text(who, name, *args)
            assert (f"ot recorded: {says}" in said) is bool(says), name
            assert ("Complete the paper" in said and complete in page) is bool(says), name


def test_a_landlord_reads_what_is_missing_and_who_completes_it(agency, agent, inspector):
    defect = repaired(agency, agent, "eicr")
    defect_confirm(defect.pk, no_paper_why="The other paper will do.", actor=inspector, moment=at())
    owner = make_user(agency, "landlord", landlord=defect.unit.landlord)
    for name, *args in (("defect", defect.pk), ("proof",), ("home", defect.unit_id)):
        said, page = text(owner, name, *args)
        assert "ot recorded: whether it was satisfactory" in said
        assert "Complete the paper" not in said
    assert "Your letting agent has to complete it." in text(owner, "proof")[0]
    stranger = make_user(agency, "landlord")
    assert "Papers to complete" not in text(stranger, "proof")[0]


def test_a_paper_completed_or_withdrawn_is_asked_for_no_longer(agency, agent, inspector):
    defect = repaired(agency, agent, "eicr")
    defect_confirm(defect.pk, no_paper_why="The other paper will do.", actor=inspector, moment=at())
    paper = Certificate.objects.get(kind="eicr", number="N-1")
    assert "Papers to complete" in text(agent, "proof")[0]
    said = {"inspected": "2026-11-25", "outcome": "satisfactory", "number": "N-1", "why": "From the paper."}
    signed_in(agent).post(reverse("certificate_correct", args=[paper.pk]), said)
    assert "Papers to complete" not in text(agent, "proof")[0]
    Certificate.objects.filter(pk=paper.pk).update(outcome=None, withdrawn=DAY)
    assert "Papers to complete" not in text(agent, "proof")[0]
