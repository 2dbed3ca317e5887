"""The people, firms and classes of `test_life`, and what each inspector is competent for."""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from inspections.models import Contractor, Registration
from portfolio.law import model as law
from tests.factories import DAY, make_agency, make_home, make_user

CLASSES = [
    ("bs7671", "C1", {}),
    ("bs7671", "C2", {}),
    ("bs7671", "C3", {}),
    ("igem_g11", "AR", {"said_by": "Invented engineer, 123456"}),
    ("other", "danger", {"trade": "gas", "suspected": True}),
    ("other", "note", {}),
]
DANGERS = {("bs7671", "C1"), ("bs7671", "C2"), ("bs7671", "FI"), ("igem_g11", "ID"), ("igem_g11", "AR")} | {
    ("other", "danger")
}
"""Open ones bar every home, whatever else is on record."""
COMPETENT = {
    "wirer": {"bs7671"},
    "all_rounder": set(law.CODES),
    "employed": set(law.CODES),
    "same_address": set(law.CODES),
    "lapsed": set(),
}
FIRM_OF = {"employed": "sparks", "same_address": "gasworks"}
"""Inspectors who are paid by a firm, or have its address."""
PEOPLE = ["agent", "landlord", *COMPETENT]
FIRMS = ["sparks", "gasworks"]


@dataclass
class World:
    agency: Any
    home: Any
    people: dict[str, Any]
    firms: dict[str, Contractor]
    wished: set[str] = field(default_factory=set)
    """What came about in any of the examples."""

    @classmethod
    def make(cls) -> "World":
        agency = make_agency()
        home = make_home(agency)
        people = {
            "agent": make_user(agency),
            "landlord": make_user(agency, "landlord", landlord=home.landlord),
        }
        for name, schemes in COMPETENT.items():
            people[name] = make_user(agency, "inspector", competent=schemes)
        people["lapsed"].competences.create(scheme="bs7671", by="Once", until=DAY - timedelta(days=1))
        firms = {}
        for name, trade in (("sparks", "electrical"), ("gasworks", "gas")):
            mail = people["same_address"].email.upper() if name == "gasworks" else f"{name}@example.org"
            firms[name] = Contractor.objects.create(
                agency=agency, name=name, email=mail, trades=["electrical", "gas", "other"]
            )
            for kind in (trade, "electrical", "gas"):
                Registration.objects.create(contractor=firms[name], kind=kind, until=DAY + timedelta(days=90))
        firms["sparks"].people.add(people["employed"])
        return cls(agency, home, people, firms)
