"""Promise 1 under concurrent writers, on whatever database the tests run on (SQLite and PostgreSQL).

Several threads mark, record dangers, claim, confirm, add papers and run the nightly task at once; meanwhile
another thread looks, each time in one snapshot, for a home that is marked while something bars it.
"""

import random
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import date, timedelta

import pytest
from django.db import connection, transaction

from inspections.models import Defect
from inspections.services.defects import NotAllowed, defect_claim_done, defect_confirm, defect_record
from portfolio import gate, standing
from portfolio.documents import Accepted, store
from portfolio.law import model as law
from portfolio.models import Clearance, Event, Unit
from portfolio.services import events
from portfolio.services.certificates import certificate_add, document_attach
from tests.factories import DAY, at, make_agency, make_home, make_user

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]
DANGERS = ["C1", "C2", "FI"]


def together(*jobs: Callable[[], None]) -> None:
    """Run the jobs in threads that start at once; the first exception of any of them fails the test."""
    start, failures = threading.Barrier(len(jobs)), []

    def run(job: Callable[[], None]) -> None:
        try:
            start.wait()
            job()
        except BaseException as failure:
            failures.append(failure)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(job,)) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failures:
        raise failures[0]


def marked_and_barred() -> list[str]:
    """Live marks of homes with an open danger, read in one snapshot."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            connection.cursor().execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        dangers = set(
            Defect.objects.filter(code__in=DANGERS, confirmed=None, found__lte=DAY).values_list(
                "unit_id", flat=True
            )
        )
        live = Clearance.objects.filter(withdrawn_at=None).select_related("unit")
        return [f"{mark.unit.ref} {mark.purpose}" for mark in live if mark.unit_id in dangers]


def test_a_mark_and_a_danger_at_once_never_both_stand():
    agency = make_agency()
    agent = make_user(agency)
    homes = [make_home(agency, agent).pk for _ in range(3)]
    for round_ in range(12):
        pk = homes[round_ % 3]

        def mark(pk: int = pk) -> None:
            with suppress(gate.Barred):
                gate.mark(pk, "let", actor=agent, moment=at())

        def danger(pk: int = pk) -> None:
            defect_record(pk, scheme="bs7671", code="C2", title="Loose", found=DAY, actor=agent, moment=at())

        together(mark, danger, mark)
        assert marked_and_barred() == []
        Defect.objects.filter(unit=pk).update(confirmed=DAY)
        standing.refresh([pk], moment=at())


@pytest.mark.slow
def test_many_writers_never_leave_a_barred_home_marked():
    agency = make_agency()
    people = [make_user(agency, "agent"), make_user(agency, "agent")]
    inspector = make_user(agency, "inspector")
    homes = [make_home(agency).pk for _ in range(3)]
    seen = []
    done = threading.Event()

    def worker(seed: int) -> Callable[[], None]:
        choose = random.Random(seed)  # noqa: S311

        def run() -> None:
            for _ in range(25):
                act(choose, choose.choice(homes), people[seed % 2], inspector)

        return run

    def watcher() -> None:
        while not done.is_set():
            seen.extend(marked_and_barred())

    watching = threading.Thread(target=lambda: (watcher(), connection.close()))
    watching.start()
    try:
        together(*(worker(seed) for seed in range(4)))
    finally:
        done.set()
        watching.join()
    assert seen == []
    assert marked_and_barred() == []
    assert events.verify(agency) is None
    assert Event.objects.filter(verb="clearance.marked").exists()
    assert Event.objects.filter(verb="clearance.withdrawn").exists()
    for unit in Unit.objects.all():
        fresh = standing.on_day([unit.pk], DAY)[unit.pk]
        assert (unit.standing.let_clear, unit.standing.sale_clear) == (fresh.let.clear, fresh.sale.clear)


def act(choose: random.Random, pk: int, person: object, inspector: object) -> None:
    """One random action; a refusal is a proper answer."""
    what = choose.choice(["mark", "mark", "mark", "unmark", "danger", "claim", "confirm", "paper", "night"])
    defect = Defect.objects.filter(unit=pk, confirmed=None).order_by("?").first()
    try:
        if what == "mark":
            gate.mark(pk, choose.choice(["let", "sale"]), actor=person, moment=at())
        elif what == "unmark":
            gate.unmark(pk, "let", why="Changed our mind.", actor=person, moment=at())
        elif what == "danger":
            code = choose.choice(DANGERS)
            defect_record(pk, scheme="bs7671", code=code, title="x", found=DAY, actor=person, moment=at())
        elif what == "claim" and defect:
            defect_claim_done(defect.pk, on=DAY, work="accessory_swap", actor=person, moment=at())
        elif what == "confirm" and defect:
            defect_confirm(defect.pk, actor=inspector, moment=at())
        elif what == "paper":
            day = date(2026, 11, 1) + timedelta(days=choose.randrange(20))
            paper = law.Certificate("", "epc", registered=day, rating=choose.choice("CG"))
            certificate_add(pk, paper, actor=person, moment=at())
        elif what == "night":
            standing.catch_up(at(DAY))
    except (gate.Barred, gate.NotMarked, NotAllowed):
        pass


def test_two_agents_marking_at_once_make_one_mark():
    agency = make_agency()
    home = make_home(agency)
    one, two = make_user(agency), make_user(agency)
    together(
        lambda: gate.mark(home.pk, "let", actor=one, moment=at()) and None,
        lambda: gate.mark(home.pk, "let", actor=two, moment=at()) and None,
    )
    assert Clearance.objects.filter(unit=home, withdrawn_at=None).count() == 1
    assert events.verify(agency) is None


def test_a_file_put_to_a_paper_and_a_mark_at_once_do_not_wait_for_each_other_for_ever():
    agency = make_agency()
    agent = make_user(agency)
    home = make_home(agency, agent)
    paper = home.certificates.first()
    accepted = Accepted(b"%PDF-", "application/pdf", "gas.pdf", "0" * 64)
    kept = store(accepted, agency=agency, actor=agent, moment=at())

    def marks() -> None:
        for _ in range(15):
            gate.mark(home.pk, "let", actor=agent, moment=at())
            gate.unmark(home.pk, "let", why="Again.", actor=agent, moment=at())

    def files() -> None:
        for _ in range(30):
            document_attach(paper.pk, kept, actor=agent, moment=at())

    together(marks, files, files)
    assert events.verify(agency) is None
