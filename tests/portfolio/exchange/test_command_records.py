"""Import, export and the check of the record: files into the database and out again."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from portfolio.exchange import generate, portfolio1
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Agency, Building, Event, Unit
from portfolio.services.homes import act_add, home_edit
from tests.factories import at, make_agency, make_home, make_user
from tests.portfolio.exchange.documents import EVERYTHING
from tests.portfolio.test_events import without_guards

FIXTURE = Path(__file__).parents[3] / "fixtures" / "one-flat.json"
pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency() -> Agency:
    return make_agency("Latchford Lettings")


@pytest.fixture
def manage(capsys: pytest.CaptureFixture[str]) -> Any:
    """Runs a command; returns its exit status and what it printed to both streams."""

    def run(*arguments: object) -> tuple[int, str, str]:
        code = 0
        try:
            call_command(*map(str, arguments))
        except SystemExit as end:
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return run


def written(path: Path, tree: Any) -> Path:
    path.write_text(json.dumps(tree), encoding="utf-8")
    return path


def many(path: Path) -> Path:
    path.write_text(portfolio1.text(generate.portfolio(40, around=date(2026, 11, 25))), encoding="utf-8")
    return path


@pytest.mark.parametrize("source", ["one flat", "everything", "many"])
def test_import_and_export_are_each_others_inverse(
    agency: Agency, manage: Any, tmp_path: Path, source: str
) -> None:
    """What went in comes out; and what came out goes into another agency and comes out the same, to the letter."""
    if source == "many":
        first = many(tmp_path / "first.json")
    else:
        first = FIXTURE if source == "one flat" else written(tmp_path / "first.json", EVERYTHING)
    assert manage("import_portfolio", first, "--agency", agency.name)[0] == 0
    assert manage("export_portfolio", "--agency", agency.name, tmp_path / "second.json")[0] == 0
    second = (tmp_path / "second.json").read_text(encoding="utf-8")
    assert portfolio1.read(second) == portfolio1.read(first.read_bytes())
    make_agency("Elsewhere Homes")
    assert manage("import_portfolio", tmp_path / "second.json", "--agency", "Elsewhere Homes")[0] == 0
    assert manage("export_portfolio", "--agency", "Elsewhere Homes") == (0, second, "")


def test_importing_again_changes_nothing(agency: Agency, manage: Any, tmp_path: Path) -> None:
    path = written(tmp_path / "in.json", EVERYTHING)
    said = manage("import_portfolio", path, "--agency", agency.name)
    assert said == (0, "Taken in: homes created 3, changed 0, unchanged 0.\n", "")
    lines = Event.objects.count()
    said = manage("import_portfolio", path, "--agency", agency.name)
    assert said == (0, "Taken in: homes created 0, changed 0, unchanged 3.\n", "")
    assert Event.objects.count() == lines


def test_check_says_what_would_happen_and_stores_nothing(agency: Agency, manage: Any, tmp_path: Path) -> None:
    manage("import_portfolio", FIXTURE, "--agency", agency.name)
    lines, buildings = Event.objects.count(), Building.objects.count()
    path = written(tmp_path / "in.json", EVERYTHING | {"units": EVERYTHING["units"][1:]})
    tree = json.loads(path.read_text(encoding="utf-8"))
    tree["units"].append({"ref": "cooper-yard-5", "building": "cooper-yard", "label": "The garden flat"})
    code, out, err = manage("import_portfolio", written(path, tree), "--agency", agency.name, "--check")
    assert (code, err) == (0, "")
    assert "new      yard-6\n" in out
    assert "changed  cooper-yard-5: label\n" in out
    assert "Nothing is stored. It would be: homes created 2, changed 1, unchanged 0.\n" in out
    assert (Event.objects.count(), Building.objects.count()) == (lines, buildings)
    assert Unit.objects.get().label == "Flat 5"


@pytest.mark.parametrize("check", [[], ["--check"]])
def test_bad_file_stores_nothing(agency: Agency, manage: Any, tmp_path: Path, check: list[str]) -> None:
    tree = EVERYTHING | {
        "units": [*EVERYTHING["units"], {"ref": "x", "building": "nowhere", "dwelling": "tent"}]
    }
    path = written(tmp_path / "in.json", tree)
    code, out, err = manage("import_portfolio", path, "--agency", agency.name, *check)
    assert (code, out) == (2, "")
    assert [line.split(":")[0] for line in err.splitlines()] == ["/units/3/dwelling", "/units/3/building"]
    assert not Unit.objects.exists()
    assert not Building.objects.exists()


@pytest.mark.parametrize("check", [[], ["--check"]])
def test_conflict_with_what_is_held_stores_nothing(
    agency: Agency, manage: Any, tmp_path: Path, check: list[str]
) -> None:
    """A paper on record is not moved by a file, and the rest of that file is not taken either."""
    manage("import_portfolio", FIXTURE, "--agency", agency.name)
    before = manage("export_portfolio", "--agency", agency.name)
    tree = json.loads(FIXTURE.read_text(encoding="utf-8"))
    tree["units"][0]["certificates"][0]["inspected"] = "2026-03-14"
    tree["units"].insert(0, {"ref": "new", "building": "cooper-yard"})
    path = written(tmp_path / "in.json", tree)
    code, out, err = manage("import_portfolio", path, "--agency", agency.name, *check)
    assert (code, out) == (2, "")
    assert err.startswith("/units/1/certificates/0/inspected: ")
    assert manage("export_portfolio", "--agency", agency.name) == before


def test_paper_for_an_appliance_already_held_is_taken(agency: Agency, manage: Any, tmp_path: Path) -> None:
    """The file need not repeat the list; but the list held must have the appliance."""
    check = {"ref": "gas-2027", "kind": "gas_safety_record", "inspected": "2027-04-02"}
    home = {"ref": "cooper-yard-5", "building": "cooper-yard"}
    tree = {"format": "portfolio/1", "buildings": [{"ref": "cooper-yard"}]}
    papers = [check | {"appliances": [{"appliance": "boiler", "result": "safe"}]}]
    path = written(tmp_path / "in.json", tree | {"units": [home | {"certificates": papers}]})
    code, _, err = manage("import_portfolio", path, "--agency", agency.name)
    assert code == 2
    assert err.startswith('/units/0/certificates/0/appliances/0/appliance: "boiler" points nowhere')
    assert not Building.objects.exists()
    manage("import_portfolio", FIXTURE, "--agency", agency.name)
    assert manage("import_portfolio", path, "--agency", agency.name)[0] == 0
    _, out, _ = manage("export_portfolio", "--agency", agency.name)
    kept = portfolio1.read(out).units[0].certificates or ()
    assert kept[-1].appliances == (law.ApplianceCheck("boiler", "safe"),)


def test_import_is_on_record_under_a_name(agency: Agency, manage: Any) -> None:
    agent = make_user(agency, "agent")
    assert manage("import_portfolio", FIXTURE, "--agency", agency.name, "--as", agent.email)[0] == 0
    assert {event.actor for event in Event.objects.all()} == {agent}


def test_import_as_somebody_who_may_not_is_refused(agency: Agency, manage: Any) -> None:
    others = [
        make_user(agency, "landlord").email,
        make_user(make_agency(), "agent").email,
        "none@example.org",
    ]
    for email in others:
        code, _, err = manage("import_portfolio", FIXTURE, "--agency", agency.name, "--as", email)
        assert code == 2
        assert err.startswith("--as: ")
    assert not Unit.objects.exists()


def test_agency_must_be_known_and_one(agency: Agency, manage: Any) -> None:
    code, _, err = manage("export_portfolio", "--agency", "Latchfrod")
    assert (code, err) == (
        2,
        '--agency: no agency is called "Latchfrod": write one of: "Latchford Lettings"\n',
    )
    make_agency(agency.name)
    code, _, err = manage("export_portfolio", "--agency", agency.name)
    assert (code, err.split(":")[1]) == (2, ' two agencies are called "Latchford Lettings"')


def test_export_holds_this_agency_only_and_the_named_homes_only(agency: Agency, manage: Any) -> None:
    mine, mine_too = make_home(agency), make_home(agency)
    make_home(make_agency())
    _, out, _ = manage("export_portfolio", "--agency", agency.name)
    assert [unit.ref for unit in portfolio1.read(out).units] == [mine.ref, mine_too.ref]
    _, out, _ = manage("export_portfolio", "--agency", agency.name, "--unit", mine_too.ref)
    assert [unit.ref for unit in portfolio1.read(out).units] == [mine_too.ref]
    code, out, err = manage("export_portfolio", "--agency", agency.name, "--unit", "theirs")
    assert (code, out) == (2, "")
    assert err.startswith('--unit: no home has the ref "theirs": ')


def test_export_after_things_were_taken_out_can_be_imported(agency: Agency, manage: Any) -> None:
    """Acts and checks that name an alarm, appliance or room no longer there do not point nowhere."""
    home, agent = make_home(agency), make_user(agency)
    for ref in ("s1", "boiler"):
        act_add(home.pk, law.Act("aware", ref), actor=agent, moment=at())
    building, unit = facts_of([home.pk])[home.pk]
    bare = replace(unit, alarms=(), appliances=(), rooms=None)
    home_edit(home.pk, building=building, unit=bare, actor=agent, moment=at())
    _, out, _ = manage("export_portfolio", "--agency", agency.name)
    (kept,) = portfolio1.read(out).units
    assert (kept.alarms, kept.appliances, kept.rooms) == ((), (), None)
    assert [act.of for act in kept.events or ()] == ["g1"]


def test_export_to_a_place_that_cannot_be_written_is_refused(
    agency: Agency, manage: Any, tmp_path: Path
) -> None:
    code, _, err = manage("export_portfolio", "--agency", agency.name, tmp_path)
    assert code == 2
    assert err.startswith(f"{tmp_path}: the file cannot be written (Is a directory): ")


def test_whole_record_holds(agency: Agency, manage: Any) -> None:
    make_home(agency)
    assert manage("check_events") == (0, "Latchford Lettings: every line holds.\n", "")


@pytest.mark.parametrize("only", [[], ["--agency", "Latchford Lettings"]])
def test_altered_line_is_named(agency: Agency, manage: Any, only: list[str]) -> None:
    make_home(agency)
    last = Event.objects.order_by("-seq")[0]
    without_guards("UPDATE portfolio_event SET says = 'Nothing happened.' WHERE id = %s", last.pk)
    code, _, err = manage("check_events", *only)
    assert code == 1
    assert err == f"Latchford Lettings: line {last.seq} was altered after it was written.\n"


def test_missing_line_is_named(agency: Agency, manage: Any) -> None:
    make_home(agency)
    make_home(agency)
    first = Event.objects.order_by("seq")[0]
    without_guards("DELETE FROM portfolio_event WHERE id = %s", first.pk)
    code, _, err = manage("check_events")
    assert code == 1
    assert "line 1 is missing" in err
