"""Lists written for tests, and what becomes of them."""

from typing import Any

from portfolio.exchange.sheets.plan import Plan, RowPlan, plan
from portfolio.exchange.sheets.write import csv_bytes
from portfolio.facts import facts_of
from portfolio.law import model as law
from portfolio.models import Agency, Unit
from portfolio.services.take_in import take_in
from tests.factories import at


def plan_of(agency: Agency, *rows: dict[str, Any]) -> Plan:
    headings = list(dict.fromkeys(key for row in rows for key in row))
    data = csv_bytes(headings, [[row.get(key, "") for key in headings] for row in rows])
    return plan(data, agency=agency, moment=at())


def home_row(ref: str = "H1", **more: Any) -> dict[str, Any]:
    return {"Home ref": ref, "Building": "Plumb Court", "Postcode": "ZZ4 2PL", "Flat": ref} | more


def taken(agency: Agency, made: Plan) -> None:
    take_in(made.portfolio(), agency=agency, actor=None, moment=at())


def stored(ref: str = "H1") -> tuple[law.Building, law.Unit]:
    (facts,) = facts_of([Unit.objects.get(ref=ref).pk]).values()
    return facts


def faults_of(row: RowPlan) -> list[str]:
    return [f"{fault.path} {fault.wrong}" for fault in row.faults]
