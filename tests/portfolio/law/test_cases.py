"""Worked cases kept as data in tests/law_cases: each row says what a home has and what is answered on which days."""

import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from portfolio.law.loader import load
from portfolio.law.model import Standing
from portfolio.law.policy import Policy, with_policy

from .homes import standing

FOLDER = Path(__file__).parents[2] / "law_cases"
CASES: list[dict[str, Any]] = [
    case | {"file": file.stem}
    for file in sorted(FOLDER.glob("*.toml"))
    for case in tomllib.loads(file.read_text(encoding="utf-8"))["case"]
]
ROWS = {
    *(f"G{n}" for n in (1, 2, 3, 5, 7, 11, 13, 14, 15, 16, 18)),
    *(f"E{n}" for n in (1, 2, 4, 5, 6, 9, 11, 13, 14)),
    *("P1", "P3", "P5", "P8", "A2", "A4", "H1", "H3", "H5"),
    *("W1", "W3", "W4", "W6", "W9", "S1", "S4", "S5", "S6", "S9", "S11", "S13", "N2", "N3", "N5", "N6"),
    *("AW1", "AW2", "F1", "F4", "B1", "B4", "D1"),
}
SAYS = {
    "row",
    "mark",
    "name",
    "source",
    "requirement",
    "policy",
    "also",
    "building",
    "papers",
    "unit",
    "asks",
    "values",
}
ASKS = {
    "on",
    "let",
    "sale",
    "state",
    "basis",
    "due",
    "kept",
    "paper",
    "kinds",
    "sale_kinds",
    "warned",
    "duties",
    "until",
    "since",
}


@pytest.mark.parametrize(
    "case", CASES, ids=lambda case: f"{case['file']}: {case.get('row', '-')}: {case['name']}"
)
def test_case_is_answered_as_worked_out(case: dict[str, Any]) -> None:
    assert case.keys() - {"file"} <= SAYS
    assert case["mark"] in ("T", "I", "memory", "house")
    book = with_policy(load(), Policy.of(case.get("policy", {}), load()))
    for ask in case.get("asks", []):
        answer = standing(
            ask["on"], book, building=case.get("building"), papers=case.get("papers"), **case.get("unit", {})
        )
        assert answered(answer, case, ask) == {key: value for key, value in ask.items() if key != "on"}
    for value in case.get("values", []):
        assert load().value(case["requirement"], value["name"], value["on"]) == value["is"]


def answered(answer: Standing, case: dict[str, Any], ask: dict[str, Any]) -> dict[str, Any]:
    """What the standing says to each question the case asks."""
    assert ask.keys() <= ASKS
    wanted = case["requirement"]
    verdict = next(one for one in answer.requirements if one.id == wanted)
    bars = {"let": answer.let.bars, "sale": answer.sale.bars}
    mine = {purpose: [r for r in reasons if r.requirement == wanted] for purpose, reasons in bars.items()}
    said = {
        "state": verdict.state.value,
        "basis": verdict.basis.value,
        "due": verdict.due,
        "paper": verdict.certificate,
        "kept": [part.anniversary_kept for part in verdict.parts],
        "kinds": sorted({r.kind for r in mine["let"]}),
        "sale_kinds": sorted({r.kind for r in mine["sale"]}),
        "since": mine["let"][0].since if mine["let"] else None,
        "warned": sorted(f"{r.requirement} {r.kind}" for r in (*answer.let.warnings, *answer.sale.warnings)),
        "duties": sorted(
            f"{one.id.partition('.')[2]} {one.party or '-'} {one.due} {one.state}"
            for one in answer.duties if one.id.startswith(wanted)
        ),
        "until": answer.let.until,
    }  # fmt: skip
    expected = {wanted, *case.get("also", [])}
    for purpose, reasons in bars.items():
        if ask.get(purpose) == "barred":
            assert mine[purpose]
            assert {r.requirement for r in reasons} <= expected
        said[purpose] = "barred" if reasons else "clear"
    return {key: said[key] for key in ask if key != "on"}


def test_every_row_of_the_worked_examples_has_a_case() -> None:
    assert {case.get("row", "").partition(" ")[0] for case in CASES} - {""} == ROWS


def test_a_case_that_gives_a_last_day_asks_about_the_day_after() -> None:
    """An edge is tested from both sides, so that a rule one day out cannot pass."""
    for case in CASES:
        days = {ask["on"] for ask in case.get("asks", [])}
        for ask in case.get("asks", []):
            due = ask.get("due")
            if isinstance(due, date) and ask["on"] == due:
                assert due + timedelta(days=1) in days, case["name"]
                assert due - timedelta(days=1) in days, case["name"]
