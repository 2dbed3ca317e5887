"""What an agency holds, as a portfolio."""

from collections.abc import Collection

from portfolio.facts import building_facts, portfolio_of
from portfolio.law import model as law
from portfolio.models import Agency, Building, Unit

CHUNK = 250
"""Homes read at a time, so that the number of bound values stays within what a database takes."""


def unit_refs_unknown(agency: Agency, refs: Collection[str]) -> list[str]:
    """Those of the refs that no home of the agency has."""
    known = set(Unit.objects.filter(agency=agency).values_list("ref", flat=True)) if refs else set()
    return [ref for ref in dict.fromkeys(refs) if ref not in known]


def portfolio_held(agency: Agency, refs: Collection[str] = ()) -> law.Portfolio:
    """Every building and home of the agency, in the order they came; with refs, only those homes."""
    wanted = set(refs)
    rows = Unit.objects.filter(agency=agency).order_by("pk").values_list("pk", "ref")
    ids = [pk for pk, ref in rows if not wanted or ref in wanted]
    parts = [portfolio_of(ids[start : start + CHUNK]) for start in range(0, len(ids), CHUNK)]
    units = tuple(unit for part in parts for unit in part.units)
    used = {unit.building for unit in units}
    buildings = Building.objects.filter(agency=agency).order_by("pk")
    held = tuple(building_facts(building) for building in buildings if not wanted or building.ref in used)
    return law.Portfolio(held, units)
