"""What the demonstration invents of contractors and competence."""

import pytest

from inspections.demo import load
from inspections.models import Competence, Contractor, Registration
from tests.factories import DAY, at, make_agency, make_user

pytestmark = pytest.mark.django_db


def test_the_invented_inspector_is_competent_for_all_but_gas_and_one_gas_registration_has_lapsed() -> None:
    agency = make_agency()
    inspector = make_user(agency, "inspector", competent=(), email="inspector@example.org")
    load(agency, at())
    schemes = set(Competence.objects.filter(user=inspector).values_list("scheme", flat=True))
    assert schemes == {"bs7671", "fire", "hhsrs", "damp_mould", "other"}
    gas = Registration.objects.filter(kind="gas", contractor__agency=agency)
    assert sorted(one.until >= DAY for one in gas if one.until) == [False, True]
    assert all(one.email.endswith("@example.org") for one in Contractor.objects.all())
    assert all("invented" in one.name for one in Contractor.objects.all())
