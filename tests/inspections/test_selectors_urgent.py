"""How soon defects have to be seen to, read from the records."""

from datetime import date

import pytest

from inspections.models import Defect
from inspections.selectors.urgent import urgencies
from inspections.services.defects import defect_record
from portfolio.law import model as law
from portfolio.services.certificates import certificate_add
from tests.factories import at, make_agency, make_home, make_user, put_in_force

pytestmark = pytest.mark.django_db
FOUND = date(2026, 11, 20)
LET = (law.Tenancy("t1", date(2026, 1, 1), date(2026, 1, 1)),)


@pytest.fixture
def agency():
    return make_agency()


def of_a_report(agency, *codes, **report):
    agent = make_user(agency)
    home = make_home(agency, tenancies=LET)
    paper = law.Certificate("", "eicr", inspected=FOUND, outcome="unsatisfactory", **report)
    row = certificate_add(home.pk, paper, actor=agent, moment=at())
    for code in codes:
        defect_record(
            home.pk, scheme="bs7671", code=code, title=code, found=FOUND, certificate=row, actor=agent, moment=at()
        )  # fmt: skip
    said = urgencies(Defect.objects.all())
    return {one.code: said[one.pk] for one in Defect.objects.all()}


def test_the_days_of_a_failing_report_count_where_they_are_shorter(agency):
    said = of_a_report(agency, "C2", "FI", "C3", remedy_within_days=7)
    assert said["C2"].due == said["FI"].due == date(2026, 11, 26)
    assert said["C2"].basis == "law"
    assert "law" in said["C2"].why
    assert said["C3"].due == date(2027, 11, 20)


def test_copies_owed_say_nothing_of_the_repair(agency):
    said = of_a_report(agency, "C2")
    assert said["C2"].due == date(2026, 12, 4)  # 14 days of practice; copies are owed within 28


def test_a_house_policy_shortens_the_days(agency):
    put_in_force(agency, {"repair_days": {"urgent": 3}}, actor=make_user(agency))
    assert of_a_report(agency, "C2")["C2"].due == date(2026, 11, 23)


def test_so_many_queries_however_many_defects(agency, django_assert_num_queries):
    found = tuple(law.Defect(f"d{n}", "bs7671", "C2", str(n), FOUND) for n in range(30))
    make_home(agency, defects=found)
    make_home(agency, defects=found)
    with django_assert_num_queries(3):
        assert len(urgencies(Defect.objects.all())) == 60
