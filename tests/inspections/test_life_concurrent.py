"""Several people at one defect at the same moment, on whatever database the tests run on (SQLite and PostgreSQL)."""

import hashlib
from collections.abc import Callable
from datetime import date
from uuid import uuid4

import pytest

from inspections.models import Contractor, Defect, Evidence, Job, JobItem
from inspections.observations import read
from inspections.services.defects import (
    NotAllowed,
    defect_claim_done,
    defect_confirm,
    defect_recode,
    defect_record,
    defect_send_back,
)
from inspections.services.evidence import evidence_add
from inspections.services.reports import observations_record
from notifications.models import Message
from portfolio import gate, standing
from portfolio.documents.proof import Accepted
from portfolio.law import model as law
from portfolio.models import Certificate, Event
from portfolio.services import events
from portfolio.services.certificates import certificate_add
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.portfolio.test_gate_concurrent import marked_and_barred, together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]
CONTENT = b"%PDF-invented"
PAPER = Accepted(CONTENT, "application/pdf", "minor.pdf", hashlib.sha256(CONTENT).hexdigest())
ROUNDS = 6


class Town:
    """A home with one C2 that an agent says is put right, and two inspectors who may confirm it."""

    def __init__(self) -> None:
        self.agency = make_agency()
        self.agent = make_user(self.agency)
        self.one, self.other = make_user(self.agency, "inspector"), make_user(self.agency, "inspector")
        self.home = make_home(self.agency)

    def waiting(self, home=None, work: str = "accessory_swap") -> Defect:
        found = defect_record(
            (home or self.home).pk, scheme="bs7671", code="C2", title="Loose", found=DAY, actor=self.agent, moment=at()
        )  # fmt: skip
        return defect_claim_done(found.pk, on=DAY, work=work, actor=self.agent, moment=at())

    def holds(self) -> None:
        """Whatever happened: nobody marked with a bar, no confirmation of what is not done, the record whole."""
        assert marked_and_barred() == []
        assert not Defect.objects.filter(confirmed__isnull=False, completed=None).exists()
        assert events.verify(self.agency) is None
        fresh = standing.on_day([self.home.pk], DAY)[self.home.pk]
        self.home.standing.refresh_from_db()
        assert self.home.standing.let_clear == fresh.let.clear


@pytest.fixture
def town() -> Town:
    return Town()


class Tries:
    """Counts which of the jobs were refused."""

    def __init__(self) -> None:
        self.refused: list[str] = []

    def __call__(self, name: str, call: Callable[[], object]) -> Callable[[], None]:
        def run() -> None:
            try:
                call()
            except (NotAllowed, gate.Barred) as why:
                self.refused.append(f"{name}: {why}")

        return run


def test_of_two_who_confirm_at_once_one_does(town):
    for _ in range(ROUNDS):
        tries, defect = Tries(), town.waiting()
        together(
            tries("one", lambda pk=defect.pk: defect_confirm(pk, actor=town.one, moment=at())),
            tries("other", lambda pk=defect.pk: defect_confirm(pk, actor=town.other, moment=at())),
        )
        assert len(tries.refused) == 1
        assert "confirmed already" in tries.refused[0]
        town.holds()
    assert Event.objects.filter(verb="defect.confirmed").count() == ROUNDS
    assert Message.objects.filter(kind="home_clear").count() == ROUNDS


def test_confirmed_or_sent_back_but_not_both(town):
    for _ in range(ROUNDS):
        tries, defect = Tries(), town.waiting()
        together(
            tries("confirm", lambda pk=defect.pk: defect_confirm(pk, actor=town.one, moment=at())),
            tries(
                "back",
                lambda pk=defect.pk: defect_send_back(pk, why="No photo.", actor=town.other, moment=at()),
            ),
        )
        assert len(tries.refused) == 1
        defect.refresh_from_db()
        assert (defect.confirmed is None) == (defect.completed is None)
        town.holds()


def test_nobody_confirms_what_they_claim_at_the_same_moment(town):
    for _ in range(ROUNDS):
        tries, defect = Tries(), town.waiting()
        together(
            tries("confirm", lambda pk=defect.pk: defect_confirm(pk, actor=town.one, moment=at())),
            tries("claim", lambda pk=defect.pk: defect_claim_done(
                pk, on=DAY, work="accessory_swap", actor=town.one, moment=at())),
        )  # fmt: skip
        assert len(tries.refused) == 1
        defect.refresh_from_db()
        assert defect.confirmed_by is None or defect.completed_by == town.agent
        town.holds()


def test_nor_what_they_bring_the_proof_of(town):
    for _ in range(ROUNDS):
        tries, defect = Tries(), town.waiting()
        together(
            tries("confirm", lambda pk=defect.pk: defect_confirm(pk, actor=town.one, moment=at())),
            tries("proof", lambda pk=defect.pk: evidence_add(
                pk, key=uuid4(), stage="after", accepted=PAPER, actor=town.one, moment=at())),
        )  # fmt: skip
        assert len(tries.refused) == 1
        defect.refresh_from_db()
        assert (defect.confirmed is None) == Evidence.objects.filter(defect=defect).exists()
        town.holds()


def test_a_mark_comes_only_after_the_last_confirmation(town):
    for _ in range(ROUNDS):
        tries, defect = Tries(), town.waiting()
        together(
            tries("confirm", lambda pk=defect.pk: defect_confirm(pk, actor=town.one, moment=at())),
            tries("mark", lambda: gate.mark(town.home.pk, "let", actor=town.agent, moment=at())),
            tries("class", lambda pk=defect.pk: defect_recode(
                pk, scheme="bs7671", code="C3", why="Less.", actor=town.other, moment=at())),
            tries("record", lambda: defect_record(
                town.home.pk, scheme="bs7671", code="C3", title="Old", found=DAY, actor=town.agent, moment=at())),
        )  # fmt: skip
        town.holds()


def test_the_last_two_of_a_job_close_it_once_and_a_shared_paper_is_kept_once_a_home(town):
    firm = Contractor.objects.create(agency=town.agency, name="Sparks", email="sparks@example.org")
    homes = [town.home, make_home(town.agency)]
    for number in range(ROUNDS):
        job = Job.objects.create(
            agency=town.agency, number=number, contractor=firm, sent_at=at().at, sent_by=town.agent
        )
        waiting = [town.waiting(home, "rcd_added") for home in homes]
        for defect in waiting:
            JobItem.objects.create(job=job, defect=defect)
            evidence_add(
                defect.pk, key=uuid4(), stage="after", accepted=PAPER, paper="minor_works", dated=DAY,
                actor=town.agent, moment=at(),
            )  # fmt: skip
        together(
            *(
                (lambda pk=defect.pk, who=who: defect_confirm(pk, actor=who, moment=at()) and None)
                for defect, who in zip(waiting, (town.one, town.other), strict=True)
            )
        )
        job.refresh_from_db()
        assert job.closed_at is not None
        town.holds()
    assert Event.objects.filter(verb="job.closed").count() == ROUNDS
    assert Certificate.objects.filter(kind="minor_works").count() == len(homes)


def test_one_list_sent_twice_at_once_is_taken_once(town):
    facts = law.Certificate("", "eicr", inspected=date(2026, 11, 20), outcome="unsatisfactory")
    paper = certificate_add(town.home.pk, facts, actor=town.agent, moment=at())
    rows = read("C2, Loose, hall\nC3, Old, board", law.CODES["bs7671"])

    def take() -> None:
        observations_record(paper.pk, rows, actor=town.agent, moment=at())

    together(take, take, take)
    assert Defect.objects.count() == 2
    town.holds()
