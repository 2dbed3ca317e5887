"""A contractor is changed while it answers: nobody waits for the other for ever."""

from datetime import date
from functools import partial
from uuid import uuid4

import pytest

from inspections.models import Evidence
from inspections.services import jobs
from inspections.services.people import contractor_save, registration_save
from portfolio.services.events import verify
from tests.factories import DAY, at, make_agency, make_user
from tests.inspections.job_cases import make_defects, make_firm, send
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]
ROUNDS = 8


@pytest.fixture(autouse=True)
def _no_sheet(monkeypatch):
    monkeypatch.setattr("inspections.services.job_mail.job_sheet", lambda *_, **__: b"%PDF-")


def test_a_firm_is_changed_while_it_answers():
    agency = make_agency()
    agent, firm = make_user(agency), make_firm(agency)
    for n in range(ROUNDS):
        defects = make_defects(agency, "C2", "C2")
        job, _ = send(firm, defects, agent)
        together(
            partial(jobs.job_claim_done, job.pk, defects[0].pk, on=DAY, work="small_electrical", moment=at()),
            partial(
                jobs.job_proof_add, job.pk, defects[1].pk, key=uuid4(), accepted=(), says="Done.", moment=at()
            ),
            partial(
                contractor_save, firm.pk, name=f"Wire {n}", email=firm.email, trades=["electrical"], actor=agent,
                moment=at(),
            ),
            partial(
                registration_save, firm.pk, None, kind="other", until=date(2027, 1, n + 1), actor=agent, moment=at()
            ),
        )  # fmt: skip
    assert Evidence.objects.count() == ROUNDS
    assert verify(agency) is None
