"""A danger that is on record, but not as a defect: the stored standing says so, and only then."""

from dataclasses import replace
from importlib import import_module

import pytest
from django.apps import apps

from portfolio.law import model as law
from portfolio.models import StoredStanding
from portfolio.standing import catch_up, dangers_without_defect, due_units
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_homes

pytestmark = [pytest.mark.django_db, pytest.mark.database]


def gas(result: str) -> tuple[law.Certificate, ...]:
    """The papers of the clear flat, its last gas record with this result."""
    lines = (law.ApplianceCheck("boiler", result),)
    return tuple(
        replace(paper, appliances=lines) if paper.ref == "g1" else paper for paper in CLEAR_FLAT.certificates
    )


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, False),
        ({"certificates": gas("id")}, True),
        ({"certificates": gas("ar")}, True),
        ({"defects": (law.Defect("d1", "bs7671", "C1", "Bare wire", DAY),)}, False),
        ({"defects": (law.Defect("boiler", "hhsrs", "cat1", None, DAY),), "certificates": gas("id")}, True),
        (
            {"defects": (law.Defect("d1", "igem_g11", "ID", None, DAY, "g1"),), "certificates": gas("id")},
            False,
        ),
    ],
    ids=["clear", "id", "ar", "defect", "other defect of the same ref", "recorded as a defect"],
)
def test_a_danger_that_no_defect_speaks_of(changes, expected):
    stored = make_home(make_agency(), **changes).standing
    assert stored.danger is expected
    assert [bar["of"] for bar in dangers_without_defect(stored.answer)] == ["boiler"] * expected


def test_answers_stored_before_it_was_kept_are_asked_again():
    home, _ = make_homes(make_agency(), {"certificates": gas("id")}, {})
    StoredStanding.objects.update(danger=False)
    assert due_units(DAY) == []
    import_module("portfolio.migrations.0006_danger_without_defect").ask_again(apps, None)
    assert catch_up(at()) == 2
    assert StoredStanding.objects.get(danger=True).unit == home
    assert due_units(DAY) == []
