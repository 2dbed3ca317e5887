"""Addresses with parameters that nobody types: no page breaks, and none that is only looked at changes anything."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portfolio.law import model as law
from portfolio.models import Due, Unit
from portfolio.selectors.duties import download_rows
from tests.factories import CLEAR_FLAT, at, make_agency, make_home, make_user, put_in_force, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.database, pytest.mark.usefixtures("noon")]

ODD = (
    "\x00", "-1", "9" * 30, "9" * 5000, "٢٠٢٧-٠١-٠١", "<script>x</script>", "0001-01-01", "1900-01-01", "2200-12-31",
    "9999-12-31",
)  # fmt: skip
NAMES = {
    "homes": ("on", "answer", "landlord", "building", "q", "sort", "page"),
    "homes_download": ("on", "answer", "sort"),
    "duties": ("on", "when", "party", "kind", "landlord", "building", "q", "page"),
    "duties_download": ("on", "kind"),
    "calendar": ("on", "page"),
    "calendar_month": ("on", "what", "kind", "page"),
    "what_if": ("assume", "begins", "on", "page"),
    "policy": ("on", "page"),
    "policy_change": ("seen",),
    "law_nation": ("on",),
    "home": ("on", "known"),
    "home_events": ("page", "known", "until"),
    "act_add": ("what", "of", "party"),
    "certificate_add": ("kind",),
}
FIXED = {"what_if": {"assume": "band_c_2030"}, "calendar_month": {"what": "lapses"}}
WRITES = ("INSERT", "UPDATE", "DELETE")


@pytest.fixture
def seen():
    """The agent of a home in which much is owed, under a house policy."""
    agent = make_user(make_agency())
    paper = law.Certificate("g2", "gas_safety_record", inspected=date(2026, 11, 10))
    put_in_force(agent.agency, {"gas_margin_days": 30}, actor=agent)
    let = law.Tenancy("t1", date(2026, 4, 1), date(2026, 4, 20))
    home = make_home(agent.agency, certificates=(*CLEAR_FLAT.certificates, paper), tenancies=(let,))
    return agent, home


def address(name: str, home) -> str:
    known = {"homes_download": ["csv"], "duties_download": ["xlsx"], "calendar_month": ["2027-03"],
             "law_nation": ["england"]}  # fmt: skip
    of_home = name in ("home", "home_events", "act_add", "certificate_add")
    return reverse(name, args=[home.pk] if of_home else known.get(name, []))


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_parameter_breaks_a_page_and_looking_changes_nothing(seen, name):
    agent, home = seen
    client = signed_in(agent)
    for key in NAMES[name]:
        for odd in ODD:
            with CaptureQueriesContext(connection) as asked:
                response = client.get(address(name, home), {**FIXED.get(name, {}), key: odd})
            assert response.status_code in (200, 404), (key, odd)
            assert b"<script>x" not in response.content, (key, odd)
            assert not [one["sql"] for one in asked if str(one["sql"]).startswith(WRITES)], (key, odd)


@pytest.mark.parametrize(
    "month", ["0000-01", "1899-12", "2201-01", "9999-12", "2027-00", "2027-13", "2027-٠١", "x"]
)
def test_what_is_no_month_we_work_with_is_absent(seen, month):
    assert signed_in(seen[0]).get(reverse("calendar_month", args=[month])).status_code == 404


@pytest.mark.parametrize("month", ["2026-11", "2200-12"])
def test_the_first_and_the_last_month_open(seen, month):
    assert signed_in(seen[0]).get(reverse("calendar_month", args=[month])).status_code == 200


@pytest.mark.parametrize("kind", ["nothing", "\x00", "gb_gas_check.copy_to_tenant"])
def test_a_kind_of_nothing_is_absent(seen, kind):
    """PostgreSQL takes no NUL in a text, not even to look for it."""
    month = reverse("calendar_month", args=["2027-03"])
    assert signed_in(seen[0]).get(month, {"kind": kind}).status_code == 404
    assert signed_in(seen[0]).get(month, {"kind": "gb_gas_check"}).status_code == 200


def test_a_home_taken_in_while_a_download_is_made_does_not_break_it(seen):
    """The rows are read first, then the homes they are of."""
    agent, _ = seen

    def rows():
        home = make_home(agent.agency)
        Due.objects.create(unit=home, is_duty=True, code="gb_gas_check.copy_to_tenant", due=at().day)
        yield from Due.objects.filter(unit=home, is_duty=True).values_list(
            "unit_id", "code", "due", "party", "of"
        )

    found = list(download_rows(rows(), Unit.objects.visible_to(agent), day=at().day))
    assert at().day in [row[0] for row in found]
