"""The whole life of defects, with random people doing random things: promises 1, 2 and 3 hold after every step.

What is told here of who may do what is written down a second time, apart from the services: the machine keeps its own
book of who said, brought or was sent what, and compares.
"""

import hashlib
from collections import defaultdict
from contextlib import suppress
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from inspections.models import Defect, Evidence, JobItem
from inspections.services import job_answers, job_mail, jobs
from inspections.services.defects import (
    NotAllowed,
    defect_claim_done,
    defect_confirm,
    defect_describe,
    defect_made_safe,
    defect_recode,
    defect_record,
    defect_send_back,
)
from inspections.services.evidence import evidence_add, evidence_withdraw
from portfolio import gate, standing
from portfolio.documents import open_bytes
from portfolio.documents.proof import Accepted
from portfolio.models import Certificate, Clearance, Document, Event
from portfolio.services import events
from tests.factories import DAY, at
from tests.inspections.life_cases import CLASSES, COMPETENT, DANGERS, FIRM_OF, FIRMS, PEOPLE, World

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

REFUSALS = (ValidationError, NotAllowed, gate.Barred, gate.NotMarked)
WORKS = ["accessory_swap", "", "rcd_added", "gas_repair"]
WHY = st.sampled_from(["It is so.", "It is so, too.", ""])
judge = st.sampled_from([*COMPETENT, "all_rounder", "all_rounder", "agent", "landlord"])
person, firm = st.sampled_from(PEOPLE), st.sampled_from(FIRMS)
pick = st.integers(0, 9)


class Life(RuleBasedStateMachine):
    """Each example starts from the same home and is undone at its end."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.undone = transaction.atomic()
        self.undone.__enter__()
        self.people_in: dict[int, set[str]] = defaultdict(set)
        self.firms_in: dict[int, set[str]] = defaultdict(set)
        self.judged_by: dict[int, str] = {}
        self.dangers: set[int] = set()
        self.ever: dict[type, set[int]] = {Defect: set(), Evidence: set(), Document: set()}
        self.lines: list[str] = []
        self.asked: tuple[int, ...] = ()
        self.bytes: dict[int, str] = {}

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.undone.__exit__(None, None, None)

    def defect(self, number: int) -> Defect | None:
        found = list(Defect.objects.order_by("pk"))
        return found[number % len(found)] if found else None

    def said_done(self, number: int) -> Defect | None:
        """One that waits to be confirmed, or any when none does."""
        waiting = list(Defect.objects.filter(completed__isnull=False, confirmed=None).order_by("pk"))
        return waiting[number % len(waiting)] if waiting else self.defect(number)

    def did(self, what: str) -> None:
        self.world.wished.add(what)

    @initialize(kind=st.sampled_from(CLASSES), who=st.none() | person, marked=st.booleans())
    def first(self, kind, who, marked):
        """One defect of a home that may carry a mark, and perhaps somebody who says that it is put right."""
        self.mark("let", on=marked)
        self.record("agent", kind)
        if who:
            self.say_done(0, who, None, "accessory_swap")

    @rule(who=st.sampled_from(["agent", "wirer", "all_rounder"]), kind=st.sampled_from(CLASSES))
    def record(self, who, kind):
        if Defect.objects.count() < 4:
            scheme, code, more = kind
            defect_record(
                self.world.home.pk, scheme=scheme, code=code, title=f"{code} found", found=DAY - timedelta(days=3),
                actor=self.world.people[who], moment=at(), **more,
            )  # fmt: skip

    @rule(which=pick, who=person, by=st.none() | firm, work=st.sampled_from(WORKS))
    def claim(self, which, who, by, work):
        self.say_done(which, who, by, work)

    @rule(which=pick, by=firm, work=st.sampled_from(WORKS))
    def claim_by_link(self, which, by, work):
        self.say_done(which, None, by, work)

    def say_done(self, which, who, by, work):
        defect, world = self.defect(which), self.world
        actor, contractor = who and world.people[who], by and world.firms[by]
        with suppress(*REFUSALS):
            defect_claim_done(defect.pk, on=DAY, work=work, actor=actor, moment=at(), contractor=contractor)
            if who:
                self.people_in[defect.pk].add(who)
            if by:
                self.firms_in[defect.pk].add(by)

    @rule(
        which=pick,
        who=st.none() | person,
        by=firm,
        after=st.booleans(),
        paper=st.sampled_from([None, "minor_works"]),
    )
    def bring(self, which, who, by, after, paper):
        defect, world = self.defect(which), self.world
        content = f"%PDF- invented {len(self.bytes) % 2}".encode()
        file = Accepted(content, "application/pdf", "proof.pdf", hashlib.sha256(content).hexdigest())
        actor, contractor = (world.people[who], None) if who else (None, world.firms[by])
        with suppress(*REFUSALS):
            evidence_add(
                defect.pk, key=uuid4(), stage="after" if after else "before", accepted=file, paper=paper,
                dated=DAY if paper else None, actor=actor, moment=at(), contractor=contractor,
            )  # fmt: skip
            if after:
                (self.people_in if who else self.firms_in)[defect.pk].add(who or by)

    @rule(number=pick, who=person)
    def withdraw(self, number, who):
        pieces = list(Evidence.objects.order_by("pk"))
        if pieces:
            with suppress(*REFUSALS):
                evidence_withdraw(
                    pieces[number % len(pieces)].pk, why="Wrong.", actor=self.world.people[who], moment=at()
                )

    @rule(which=pick, who=judge, why=WHY)
    def send_back(self, which, who, why):
        defect = self.said_done(which)
        with suppress(*REFUSALS):
            defect_send_back(defect.pk, why=why, actor=self.world.people[who], moment=at())
            assert why
            self.did("sent back")

    @rule(which=pick, who=judge, why=WHY, work=st.sampled_from(WORKS))
    def confirm(self, which, who, why, work):
        defect = self.said_done(which)
        with suppress(*REFUSALS):
            defect_confirm(
                defect.pk,
                no_paper_why=why,
                work="" if defect.work else work,
                actor=self.world.people[who],
                moment=at(),
            )
            assert defect.completed is not None
            self.judged_by[defect.pk] = who
            self.dangers.discard(defect.pk)
            self.did("confirmed")

    @rule(which=pick, who=judge)
    def repair(self, which, who):
        self.say_done(which, "agent", None, "accessory_swap")
        self.confirm(which, who, "It is so.", "")

    @rule(which=pick, who=judge, kind=st.sampled_from(CLASSES), why=WHY)
    def recode(self, which, who, kind, why):
        defect = self.defect(which)
        old = "igem_g11" if defect.trade == "gas" else defect.scheme
        with suppress(*REFUSALS):
            defect_recode(
                defect.pk, scheme=kind[0], code=kind[1], why=why, actor=self.world.people[who], moment=at()
            )
            assert why
            self.may_judge(defect.pk, who, {old, kind[0]})
            self.dangers.discard(defect.pk)
            self.did("classed otherwise")

    @rule(which=pick, who=person, by=st.none() | firm)
    def make_safe(self, which, who, by):
        defect = self.defect(which)
        with suppress(*REFUSALS):
            defect_made_safe(
                defect.pk, on=DAY, how="Switched off.", actor=None if by else self.world.people[who],
                moment=at(), contractor=by and self.world.firms[by],
            )  # fmt: skip
            (self.firms_in if by else self.people_in)[defect.pk].add(by or who)

    @rule(which=pick, trade=st.sampled_from([None, "gas", "other"]))
    def describe(self, which, trade):
        with suppress(*REFUSALS):
            defect_describe(
                self.defect(which).pk, title="Said better", room=None, place="", note="", trade=trade,
                actor=self.world.people["agent"], moment=at(),
            )  # fmt: skip

    @rule(which=pick, by=firm)
    def send(self, which, by):
        defect, world = self.defect(which), self.world
        with suppress(*REFUSALS):
            jobs.job_send(world.firms[by].pk, [defect.pk], actor=world.people["agent"], moment=at())
            self.firms_in[defect.pk].add(by)
            self.did("sent to a contractor")

    @rule(number=pick, take=st.booleans())
    def end_job(self, number, take):
        live = list(JobItem.objects.filter(ended_at=None).order_by("pk"))
        if live:
            job, agent = live[number % len(live)].job_id, self.world.people["agent"]
            with suppress(*REFUSALS):
                if take:
                    jobs.job_take_back(job, why="Too slow.", actor=agent, moment=at())
                else:
                    job_answers.job_answer(job, answer="declined", why="No time.", actor=agent, moment=at())

    @rule(purpose=st.sampled_from(["let", "sale"]), on=st.booleans())
    def mark(self, purpose, on):
        home, agent = self.world.home.pk, self.world.people["agent"]
        with suppress(*REFUSALS):
            if on:
                gate.mark(home, purpose, actor=agent, moment=at())
                self.did("marked")
            else:
                gate.unmark(home, purpose, why="Changed our mind.", actor=agent, moment=at())

    def may_judge(self, pk: int, who: str, schemes: set[str]) -> None:
        assert schemes <= COMPETENT.get(who, set()), f"{who} is not competent for {schemes}"
        assert who not in self.people_in[pk], f"{who} had a hand in it"
        assert FIRM_OF.get(who) not in self.firms_in[pk], f"{who} is paid by who did it"

    @invariant()
    def no_marked_home_is_barred(self) -> None:
        home = self.world.home
        if self.changed_since_asked():
            self.ask_again(home)

    def changed_since_asked(self) -> bool:
        """Is there a row of history or a line of record that was not there when the law was last asked?"""
        now = (
            Defect.history.count(),
            Certificate.history.count(),
            Clearance.objects.count(),
            Event.objects.count(),
        )
        was, self.asked = self.asked, now
        return now != was

    def ask_again(self, home) -> None:
        fresh = standing.on_day([home.pk], DAY)[home.pk]
        home.standing.refresh_from_db()
        assert (home.standing.let_clear, home.standing.sale_clear) == (fresh.let.clear, fresh.sale.clear)
        for mark in Clearance.objects.filter(withdrawn_at=None):
            assert standing.answer_for(fresh, mark.purpose).clear
        open_dangers = {d.pk for d in Defect.objects.filter(confirmed=None) if (d.scheme, d.code) in DANGERS}
        assert not (open_dangers and fresh.let.clear)

    @invariant()
    def only_the_competent_without_a_hand_in_it_confirm(self) -> None:
        for defect in Defect.objects.filter(confirmed__isnull=False):
            who = self.judged_by.get(defect.pk)
            assert who is not None, "confirmed by nobody"
            assert defect.confirmed_by == self.world.people[who]
            assert defect.completed is not None
            assert defect.work
            self.may_judge(defect.pk, who, {"igem_g11" if defect.trade == "gas" else defect.scheme})
        still = {d.pk for d in Defect.objects.filter(confirmed=None) if (d.scheme, d.code) in DANGERS}
        assert self.dangers <= still, "a danger left the list by another way"
        self.dangers = still

    @invariant()
    def nothing_recorded_is_lost(self) -> None:
        for model, before in self.ever.items():
            now = set(model.objects.values_list("pk", flat=True))  # type: ignore[attr-defined]
            assert before <= now
            self.ever[model] = now
        assert events.verify(self.world.agency) is None
        lines = list(
            Event.objects.filter(agency=self.world.agency).order_by("seq").values_list("hash", flat=True)
        )
        assert lines[: len(self.lines)] == self.lines
        self.lines = lines
        for document in Document.objects.all():
            found = hashlib.sha256(open_bytes(document)).hexdigest()
            assert found == document.sha256 == self.bytes.setdefault(document.pk, found)


def test_random_lives_of_defects_keep_the_promises(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(job_mail, "job_sheet", lambda *_, **__: b"%PDF-")  # drawn elsewhere, and slow
    Life.world = World.make()
    run_state_machine_as_test(
        Life,
        settings=settings(
            max_examples=max(6, settings().max_examples // 3),
            stateful_step_count=20,
            suppress_health_check=list(HealthCheck),
        ),
    )
    if settings().max_examples >= 100:
        wanted = {"confirmed", "classed otherwise", "sent to a contractor", "marked"}
        assert wanted <= Life.world.wished, "the examples are too tame to show anything"
