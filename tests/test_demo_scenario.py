"""The invented homes: valid, as they claim to be, never stale, and nobody real among them."""

import io
import re
from collections.abc import Callable
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest
from django.conf import settings as project
from django.core.management import CommandError, call_command
from openpyxl import load_workbook
from pytest_django import Settings

from portfolio.demo import scenario, sheet
from portfolio.demo.days import UnknownDay, day_told
from portfolio.law import model as law
from portfolio.law.evaluate import evaluate
from portfolio.law.loader import load as load_law
from portfolio.law.policy import Policy, with_policy
from portfolio.models import Agency, Unit, User
from portfolio.standing import on_day
from tests.demo_filled import filled, import_list, morning

TODAY = date(2026, 11, 25)
DAYS = (
    TODAY,
    date(2026, 12, 31),
    date(2027, 1, 1),
    date(2027, 2, 28),
    date(2027, 3, 31),
    date(2027, 8, 30),
    date(2028, 2, 28),
    date(2028, 2, 29),
    date(2028, 3, 1),
    date(2028, 10, 31),
)
FIXTURES = Path(project.BASE_DIR) / "fixtures"
KINDS = {
    "missing", "lapsed", "failed", "danger", "unknown", "not_licensed", "not_commissioned", "below_standard",
    "not_registered", "late",
}  # fmt: skip
"""Every kind of reason that bars."""
WARNINGS = {"pending", "late"}
REQUIREMENTS = {
    "eng_eicr", "gb_gas_check", "ew_epc", "ew_mees", "eng_alarms", "eng_hmo_licence", "eng_hhsrs", "eng_awaab_social",
    "wal_alarms", "sco_alarms", "sco_eicr", "sco_pat", "sco_damp", "sco_registration", "ni_eicr", "ni_registration",
    "house_danger", "house_margin", "house_band",
}  # fmt: skip


@cache
def standings(on: date) -> dict[str, law.Standing]:
    """What the law and each agency's policy say of every home of both, told for a day and asked on it."""
    answers, asks = {}, Policy.of(scenario.policy()[0], load_law())
    for told, policy in ((scenario.agency_homes(on), asks), (scenario.strangers_homes(on), Policy())):
        portfolio = told.portfolio()
        buildings = {building.ref: building for building in portfolio.buildings}
        for unit in portfolio.units:
            answers[unit.ref] = evaluate(with_policy(load_law(), policy), buildings[unit.building], unit, on)
    return answers


def bars(answer: law.Answer) -> frozenset[str]:
    return frozenset(f"{reason.requirement} {reason.kind}" for reason in answer.bars)


def met() -> set[str]:
    """Every "requirement kind" that bars some home."""
    return {bar for s in standings(TODAY).values() for bar in bars(s.let) | bars(s.sale)}


@pytest.mark.parametrize("on", DAYS, ids=str)
def test_every_home_is_clear_or_barred_for_what_it_was_written_for(on: date) -> None:
    homes = (*scenario.agency_homes(on).homes, *scenario.strangers_homes(on).homes)
    answers = standings(on)
    found = {ref: {"let": bars(answers[ref].let), "sale": bars(answers[ref].sale)} for ref in answers}
    assert found == {home.ref: dict(home.bars) for home in homes}


@pytest.mark.parametrize("on", DAYS, ids=str)
def test_homes_about_to_end_end_when_they_were_written_to(on: date) -> None:
    tomorrow, in_a_week = on + timedelta(days=1), on + timedelta(days=7)
    until = {ref: (s.let.until, s.sale.until) for ref, s in standings(on).items()}
    assert until["TW-6"][0] == tomorrow
    assert until["TW-6"][1] != tomorrow
    assert until["TW-13"] == (in_a_week, in_a_week)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_some_home_is_barred_for_each_kind_of_reason(kind: str) -> None:
    assert any(bar.endswith(f" {kind}") for bar in met())


@pytest.mark.parametrize("requirement", sorted(REQUIREMENTS))
def test_some_home_is_barred_by_each_requirement(requirement: str) -> None:
    assert any(bar.startswith(f"{requirement} ") for bar in met())


@pytest.mark.parametrize("requirement", sorted(REQUIREMENTS - {"house_danger"}))
def test_some_home_meets_each_requirement(requirement: str) -> None:
    states = {r.state for s in standings(TODAY).values() for r in s.requirements if r.id == requirement}
    assert law.State.MET in states


@pytest.mark.parametrize("scheme", sorted(law.SCHEMES))
def test_some_home_is_barred_by_a_danger_of_each_scheme(scheme: str) -> None:
    barred = {ref for ref, s in standings(TODAY).items() if "house_danger danger" in bars(s.let)}
    units = scenario.agency_homes(TODAY).portfolio().units
    assert any(d.scheme == scheme for unit in units if unit.ref in barred for d in unit.defects or ())


def test_warnings_that_do_not_bar_are_there_too() -> None:
    warned = {reason.kind for s in standings(TODAY).values() for reason in s.let.warnings}
    assert warned >= WARNINGS
    assert "pending" in {reason.kind for reason in standings(TODAY)["BS-5"].let.warnings}
    assert standings(TODAY)["BS-5"].let.clear


def test_the_refurbished_flat_has_new_work_and_no_papers_for_it() -> None:
    flat = standings(TODAY)["TW-9"]
    assert {"eng_eicr missing", "gb_gas_check missing", "house_danger danger"} <= bars(flat.let)
    assert {r.of for r in flat.sale.bars} == {"board-no-paper", "joint-behind-tiles", "flue-unsealed"}


def test_a_chain_of_gas_checks_keeps_its_anniversary_and_an_early_one_does_not() -> None:
    parts = {
        ref: [p for r in standings(TODAY)[ref].requirements if r.id == "gb_gas_check" for p in r.parts]
        for ref in ("TW-1", "CY-4")
    }
    assert [part.anniversary_kept for part in parts["TW-1"]] == [True, True]
    assert not any(part.anniversary_kept for part in parts["CY-4"])


@pytest.mark.parametrize("on", DAYS, ids=str)
def test_tenanted_homes_that_are_clear_have_no_paper_given_late(on: date) -> None:
    clear = [standing for standing in standings(on).values() if standing.let.clear]
    assert clear
    assert [(s.ref, w.says) for s in clear for w in s.let.warnings if w.kind == "late"] == []


def test_there_are_about_eighty_homes_of_every_shape_and_five_landlords() -> None:
    units = scenario.agency_homes(TODAY).portfolio().units
    assert 70 <= len(units) <= 85
    assert {unit.dwelling for unit in units} == set(law.DWELLINGS)
    assert {unit.landlord for unit in units} == {*law.LANDLORDS, None}
    assert len({unit.landlord_ref for unit in units}) == 5


def test_a_day_told_from_an_unknown_name_is_refused() -> None:
    with pytest.raises(UnknownDay, match="known here: today"):
        day_told("{tomorrow+1d}", {"today": TODAY})


def test_days_are_told_in_steps() -> None:
    known = {"today": date(2028, 2, 29)}
    assert day_told("{today-1y}", known) == date(2027, 2, 28)
    assert day_told("{today-1m+3d}", known) == date(2028, 2, 1)
    assert day_told("today", known) is None


# --- nobody real -----------------------------------------------------------------------------------

REAL = {
    "postcode": (r"\b[A-Z]{1,2}[0-9][0-9A-Z]? ?[0-9][A-Z]{2}\b", r"ZZ[0-9] [0-9][A-Z]{2}"),
    "e-mail": (r"[\w.+-]+@[\w.-]+\w", r".+@example\.org"),
    "telephone": (r"\b0\d{3,4} ?\d{3} ?\d{3,4}\b", r"01632 960\d{3}|07700 900\d{3}"),
}


@pytest.mark.parametrize("what", sorted(REAL))
def test_every_address_in_the_fixtures_is_an_invented_one(what: str) -> None:
    found, invented = REAL[what]
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(FIXTURES.rglob("*.toml")))
    seen = re.findall(found, text)
    assert seen
    assert [address for address in seen if not re.fullmatch(invented, address)] == []


def test_every_file_of_the_fixtures_is_read_by_that_test() -> None:
    assert {path.suffix for path in FIXTURES.rglob("*") if path.is_file()} <= {".toml", ".json"}


# --- the command ------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_load_demo_refuses_outside_a_demonstration(settings: Settings) -> None:
    settings.SNECK_DEMO = False
    with pytest.raises(CommandError, match="SNECK_DEMO=1"):
        call_command("load_demo", on=TODAY)
    assert not Agency.objects.exists()


# --- the old list -----------------------------------------------------------------------------------


def test_the_workbook_has_the_habits_an_old_list_has() -> None:
    page = load_workbook(io.BytesIO(sheet.workbook(TODAY))).worksheets[0]
    cells = [cell for row in page.iter_rows() for cell in row if cell.value is not None]
    assert len(page.merged_cells.ranges) == 2
    assert [cell.data_type for cell in cells].count("f") == 1
    assert any(cell.is_date for cell in cells if hasattr(cell, "is_date"))
    assert {"tbc", "N/A", "31/02/2024", "13/25/2023"} <= {cell.value for cell in cells}
    rows = [tuple(row) for row in page.iter_rows(values_only=True) if any(row)]
    assert len(rows) - len(set(rows)) == 1


def test_the_csv_holds_the_same_lines_as_the_workbook() -> None:
    lines = sheet.csv_text(TODAY).decode("cp1252").splitlines()
    page = load_workbook(io.BytesIO(sheet.workbook(TODAY))).worksheets[0]
    assert len(lines) == page.max_row


SHEET_BARS = {
    "WC": set(), "LG-1": set(), "PH-1": set(), "PH-2": set(), "BS-17": set(), "SY-4": set(),
    "LG-2": {"gb_gas_check missing"}, "LG-3": {"eng_eicr missing"}, "LG-5": {"eng_alarms missing"},
    "LG-6": {"eng_eicr lapsed"}, "PH-3": {"eng_eicr failed"},
    "PH-5": {"ew_mees below_standard", "house_band below_standard"},
    "BS-19": {"eng_hmo_licence not_licensed"}, "SY-1": {"gb_gas_check failed", "house_danger danger"},
    "SY-3": {"ew_epc lapsed"},
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize("on", [TODAY, date(2028, 2, 29)], ids=str)
@pytest.mark.parametrize("written", [sheet.workbook, sheet.csv_text], ids=["xlsx", "csv"])
def test_the_old_list_goes_in_as_the_story_tells(
    on: date, written: Callable[[date], bytes], tmp_path: Path
) -> None:
    with filled(on, tmp_path):
        agent = User.objects.get(email="agent@example.org")
        states = import_list(written(on), agent, morning(on))
        assert {ref for ref, state in states.items() if state == "refused"} == {"LG-4", "PH-4", "SY-2"}
        assert {ref for ref, state in states.items() if state == "same"} == {"TW-1", "PL-2", "PL-12", "RC"}
        assert {ref for ref, state in states.items() if state == "changed"} == {"WC"}
        refs = dict(Unit.objects.filter(agency=agent.agency, ref__in=SHEET_BARS).values_list("pk", "ref"))
        answers = on_day(refs, on)
        assert {refs[pk]: set(bars(standing.let)) for pk, standing in answers.items()} == SHEET_BARS
