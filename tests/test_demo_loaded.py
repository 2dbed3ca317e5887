"""The demonstration as it is loaded: whom and what it holds, and that the gate stands in it as anywhere."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from inspections.demo import homes_mended
from inspections.models import Competence, Contractor, Defect, Evidence, Job, Look, Registration, Visit
from inspections.services.competence import why_not_confirm
from inspections.services.defects import defect_record
from notifications.models import Message
from portfolio import gate
from portfolio.demo import scenario, sheet
from portfolio.facts import portfolio_of
from portfolio.law import model as law
from portfolio.models import Agency, Clearance, Document, Unit, User
from portfolio.services import events
from portfolio.services.certificates import certificate_add
from portfolio.standing import on_day
from tests.demo_filled import filled, import_list, morning
from tests.factories import signed_in
from tests.test_demo_scenario import bars

pytestmark = pytest.mark.django_db

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def loaded(in_common: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    with filled(TODAY, tmp_path_factory.mktemp("demo")) as folder:
        yield folder


def test_load_demo_fills_an_empty_database_once(loaded: Path) -> None:
    agency = Agency.objects.get(name=scenario.people()["agency"]["name"])
    told = scenario.agency_homes(TODAY)
    assert Unit.objects.filter(agency=agency).count() == len(told.homes)
    live = Clearance.objects.filter(withdrawn_at=None).select_related("unit")
    marks = {(clearance.unit.ref, clearance.purpose) for clearance in live}
    assert marks == {(home.ref, purpose) for home in told.homes for purpose in home.mark}
    assert len(marks) >= 12
    assert {d.media_type for d in Document.objects.all()} == {"application/pdf", "image/jpeg"}
    assert events.verify(agency) is None
    policy = agency.policies.get()
    assert (policy.settings, policy.why) == scenario.policy()
    assert policy.in_force_at is not None
    lists = {path.name for path in (loaded / "demo").iterdir()}
    assert lists == {"marrowby-lettings-list.xlsx", "marrowby-lettings-list.csv"}
    with pytest.raises(CommandError, match="already holds an agency"):
        call_command("load_demo", on=TODAY)


def test_load_demo_gives_every_role_a_log_in_and_keeps_strangers_apart(loaded: Path) -> None:
    for role, email, password in scenario.logins():
        user = User.objects.get(email=email)
        assert user.role == role
        assert user.check_password(password)
    agent, stranger = (User.objects.get(email=f"{who}@example.org") for who in ("agent", "stranger"))
    theirs = {home.ref for home in scenario.strangers_homes(TODAY).homes}
    assert {unit.ref for unit in Unit.objects.visible_to(stranger)} == theirs
    assert not Unit.objects.visible_to(agent).filter(ref__in=theirs).exists()


def test_load_demo_holds_its_homes_just_as_they_were_told_and_gates_them(loaded: Path) -> None:
    told = scenario.agency_homes(TODAY).portfolio()
    ours = Unit.objects.filter(agency__users__email="agent@example.org")
    held = portfolio_of(ours.values_list("pk", flat=True))
    assert by_ref(held.buildings) == by_ref(told.buildings)
    stored = {unit.ref: unit for unit in held.units}
    assert set(stored) == {unit.ref for unit in told.units}
    mended = homes_mended(TODAY)
    for unit in told.units:
        for name in ("certificates", "defects", "rooms", "appliances", "alarms", "tenancies"):
            if name != "defects" or unit.ref not in mended:
                assert by_ref(getattr(stored[unit.ref], name)) == by_ref(getattr(unit, name)), unit.ref
    assert mended == {"TW-9", "TW-10", "TW-14", "LW-2-1"}
    agent = User.objects.get(email="agent@example.org")
    with pytest.raises(gate.Barred, match="electrical"):
        gate.mark(ours.get(ref="TW-9").pk, "let", actor=agent, moment=morning(TODAY))


def test_load_demo_takes_no_bar_away_and_adds_none(loaded: Path) -> None:
    told = scenario.agency_homes(TODAY)
    ids = dict(Unit.objects.filter(agency__users__email="agent@example.org").values_list("pk", "ref"))
    answers = {ids[pk]: standing for pk, standing in on_day(ids, TODAY).items()}
    for home in told.homes:
        found = {"let": answers[home.ref].let, "sale": answers[home.ref].sale}
        assert {name: bars(answer) for name, answer in found.items()} == dict(home.bars), home.ref


def by_ref(items: Sequence[Any] | None) -> dict[str, Any] | None:
    return None if items is None else {item.ref: item for item in items}


def test_a_home_of_the_old_list_is_let_when_its_paper_comes_and_not_when_a_danger_shows(loaded: Path) -> None:
    agent = User.objects.get(email="agent@example.org")
    now: dict[str, Any] = {"actor": agent, "moment": morning(TODAY)}
    import_list(sheet.workbook(TODAY), agent, now["moment"])
    home = Unit.objects.get(ref="LG-2")
    with pytest.raises(gate.Barred, match="gas"):
        gate.mark(home.pk, "let", **now)
    boiler = law.ApplianceCheck(home.appliances.get().ref, "safe")
    paper = law.Certificate("", "gas_safety_record", inspected=date(2026, 11, 20), appliances=(boiler,))
    certificate_add(home.pk, paper, **now)
    mark = gate.mark(home.pk, "let", **now)
    assert mark.until == date(2027, 11, 6)  # the house policy wants fourteen days in hand
    defect_record(home.pk, scheme="bs7671", code="C2", title="Loose socket", found=TODAY, **now)
    mark.refresh_from_db()
    assert mark.withdrawn_on == TODAY
    with pytest.raises(gate.Barred):
        gate.mark(home.pk, "let", **now)


# --- repairs on their way ---------------------------------------------------------------------------


def job_of(home: str) -> Job:
    return Job.objects.filter(items__defect__unit__ref=home).distinct().get()


def test_inspectors_are_competent_for_all_but_gas_and_one_gas_registration_has_lapsed(loaded: Path) -> None:
    first, second = (
        set(Competence.objects.filter(user__email=f"{who}@example.org").values_list("scheme", flat=True))
        for who in ("inspector", "second.inspector")
    )
    assert first == {"bs7671", "fire", "hhsrs", "damp_mould", "other"}
    assert second == {"bs7671", "fire"}
    gas = Registration.objects.filter(kind="gas")
    assert sorted(one.until >= TODAY for one in gas if one.until) == [False, True]
    assert all(one.email.endswith("@example.org") for one in Contractor.objects.all())
    assert all("invented" in one.name for one in Contractor.objects.all())


def test_a_visit_has_ended_with_photos_of_what_it_found(loaded: Path) -> None:
    visit = Visit.objects.get()
    assert (visit.unit.ref, visit.ended_at is not None) == ("TW-9", True)
    assert set(Defect.objects.filter(visit=visit).values_list("code", "room__use")) == {
        ("C1", "bathroom"),
        ("C2", "living"),
    }
    assert Evidence.objects.filter(defect__visit=visit, stage="before").count() == 2
    looks = Look.objects.filter(visit=visit).values_list("room__use", "what", "says")
    assert {(room, what) for room, what, _ in looks} == {
        ("hall", "not_seen"),
        ("bedroom", "nothing"),
        ("kitchen", "not_seen"),
    }
    assert ("kitchen", "not_seen", "Not looked at.") in looks


def test_one_job_is_unanswered_one_has_a_day_one_waits_and_one_was_sent_back(loaded: Path) -> None:
    assert Job.objects.count() == 4
    quiet, day, waits, back = (job_of(home) for home in ("TW-14", "TW-10", "TW-9", "LW-2-1"))
    assert (quiet.answer, quiet.proposed, quiet.seen_at) == (None, None, None)
    assert (day.answer, day.proposed) == ("accepted", TODAY + timedelta(days=3))
    done, sent_back = (Defect.objects.get(items__job=job) for job in (waits, back))
    assert (done.completed, done.confirmed, done.work) == (TODAY, None, "cable_repair")
    shown = Evidence.objects.filter(defect=done, stage="after").values_list("paper", "contractor__name")
    assert set(shown) == {(None, str(waits.contractor)), ("minor_works", str(waits.contractor))}
    assert (sent_back.completed, "Paint hides it" in sent_back.sent_back_why) == (None, True)
    assert all(job.closed_at is None for job in Job.objects.all())


def test_the_inspector_whom_the_firm_pays_may_not_confirm_and_the_other_may(loaded: Path) -> None:
    done = Defect.objects.get(ref="joint-behind-tiles")
    second, first = (
        User.objects.get(email=f"{who}@example.org") for who in ("second.inspector", "inspector")
    )
    assert "You work for the contractor" in why_not_confirm(second, done, morning(TODAY))
    assert why_not_confirm(first, done, morning(TODAY)) == ""
    assert "You work for the contractor" in signed_in(second).get(reverse("proof")).content.decode()


def test_everybody_is_written_to_and_the_line_of_record_is_whole(loaded: Path) -> None:
    kinds = set(Message.objects.values_list("kind", flat=True))
    assert kinds >= {"job", "danger", "sent_back"}
    assert events.verify(User.objects.get(email="agent@example.org").agency) is None
