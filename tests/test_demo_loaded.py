"""The demonstration as it is loaded: whom and what it holds, and that the gate stands in it as anywhere."""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from inspections.services.defects import defect_record
from portfolio import gate
from portfolio.demo import scenario, sheet
from portfolio.facts import portfolio_of
from portfolio.law import model as law
from portfolio.models import Agency, Clearance, Document, Unit, User
from portfolio.services import events
from portfolio.services.certificates import certificate_add
from tests.demo_filled import filled, import_list, morning

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
    for unit in told.units:
        for name in ("certificates", "defects", "rooms", "appliances", "alarms", "tenancies"):
            assert by_ref(getattr(stored[unit.ref], name)) == by_ref(getattr(unit, name)), unit.ref
    agent = User.objects.get(email="agent@example.org")
    with pytest.raises(gate.Barred, match="electrical"):
        gate.mark(ours.get(ref="TW-9").pk, "let", actor=agent, moment=morning(TODAY))


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
