"""The list of duties: what is owed over all homes one may see, by its last day, on any day."""

import csv
import io
from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from portfolio import standing
from portfolio.law import model as law
from portfolio.law.model import DutyState
from portfolio.models import Due, StoredStanding
from portfolio.selectors import reach
from tests.factories import CLEAR_FLAT, DAY, make_agency, make_home, make_user, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

INSPECTED = date(2026, 11, 10)
LAST_COPY_DAY = date(2026, 12, 8)
"""28 days after the gas check of INSPECTED."""
NEW_GAS = law.Certificate(
    "g2", "gas_safety_record", "G-2", inspected=INSPECTED, appliances=(law.ApplianceCheck("boiler", "safe"),)
)
LET = law.Tenancy("t1", date(2026, 4, 1), date(2026, 4, 20))


@pytest.fixture(scope="module")
def common(in_common):
    """An agent, and a home of theirs that is let, with a new gas record of which the tenant has no copy yet."""
    agent = make_user(make_agency("Latchford Lettings"))
    return agent, owing_home(agent)


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def see(agent):
    return lambda **asked: signed_in(agent).get(reverse("duties"), asked)


@pytest.fixture
def owing(common):
    return deepcopy(common[1])


def owing_home(agent, ref="owing", **more):
    changes = {"label": "Flat 7", "certificates": (*CLEAR_FLAT.certificates, NEW_GAS), "tenancies": (LET,)}
    return make_home(agent.agency, ref=ref, **changes | more)


def shown(response) -> set[tuple[str, str, date | None, bool]]:
    return {(line.home.ref, line.title, line.due, line.late) for line in response.context["lines"]}


def test_a_list_shows_exactly_what_the_answers_owe(agent, owing, see):
    other = make_home(agent.agency, ref="other", certificates=None, tenancies=(LET,))
    wanted = {
        (pk, duty.title, duty.due)
        for pk, answer in standing.on_day([owing.pk, other.pk], DAY).items()
        for duty in answer.duties if duty.state is not DutyState.DONE
    }  # fmt: skip
    assert wanted
    assert {(line.home.pk, line.title, line.due) for line in see().context["lines"]} == wanted


def test_a_duty_says_for_whom_it_is_done(owing, see):
    page = " ".join(see().content.decode().split())
    assert (
        'Give the tenant a copy of the gas safety record<br><span class="small soft">for: tenant</span>'
        in page
    )


@pytest.mark.parametrize(
    ("day", "late"),
    [(LAST_COPY_DAY - timedelta(1), False), (LAST_COPY_DAY, False), (LAST_COPY_DAY + timedelta(1), True)],
)
def test_a_duty_is_late_from_the_day_after_its_last_day(owing, see, day, late):
    assert (LAST_COPY_DAY, late) in [(due, is_late) for _, _, due, is_late in shown(see(on=day.isoformat()))]


def test_a_day_gone_by_shows_what_was_owed_then(owing, see):
    assert LAST_COPY_DAY not in [due for *_, due, _ in shown(see(on="2026-11-09"))]
    assert "That day has gone by" in see(on="2026-11-09").content.decode()


@pytest.mark.parametrize(("when", "there"), [("7", False), ("30", True), ("90", True), ("late", False)])
def test_the_list_is_narrowed_by_day(owing, see, when, there):
    response = see(when=when)
    assert (LAST_COPY_DAY in [line.due for line in response.context["lines"]]) is there
    assert response.context["duties"].counts[when] == len(response.context["lines"])


def test_the_days_at_either_end_of_a_spell_count_in(owing, see):
    for before in (30, 0):
        day = LAST_COPY_DAY - timedelta(days=before)
        response = see(on=day.isoformat(), when="30")
        assert (LAST_COPY_DAY in [line.due for line in response.context["lines"]]) is (day >= INSPECTED)


def test_the_list_is_narrowed_by_party_kind_landlord_and_words(agent, owing, see):
    make_home(agent.agency, ref="other", landlord_ref="L2")
    everything = shown(see())
    assert LAST_COPY_DAY in {due for *_, due, _ in shown(see(party="tenant"))}
    assert shown(see(party="tenant")) <= everything
    assert shown(see(party="council")) == set()
    assert {due for *_, due, _ in shown(see(kind="gb_gas_check.copy_to_tenant"))} == {LAST_COPY_DAY}
    assert shown(see(landlord=str(owing.landlord_id))) == everything
    assert shown(see(q="Flat 7")) == everything
    assert shown(see(q="nowhere")) == set()


@pytest.mark.parametrize("asked", [{"on": "never"}, {"when": "soon"}, {"kind": "x"}, {"on": "0026-01-01"}])
def test_a_wrong_choice_is_told(owing, see, asked):
    response = see(**asked)
    assert response.status_code == 200
    assert 'class="errorlist"' in response.content.decode()


@pytest.mark.parametrize("change", ["law", "changes_on", "gone"])
def test_what_is_stored_and_stale_is_worked_out_anew(owing, see, change):
    before = shown(see())
    assert before
    Due.objects.all().delete()
    Due.objects.create(unit=owing, is_duty=True, code="gb_gas_check.copy_to_tenant", due=date(2020, 1, 1))
    kept = StoredStanding.objects.filter(unit=owing)
    if change == "gone":
        kept.delete()
    else:
        kept.update(**{"law": {"law": "old"}, "changes_on": {"changes_on": DAY}}[change])
    assert shown(see()) == before


def test_a_fresh_answer_is_taken_as_stored(owing, see):
    Due.objects.filter(is_duty=True).update(due=date(2026, 12, 1))
    assert {line.due for line in see().context["lines"]} == {date(2026, 12, 1)}


def test_stored_duties_of_fresh_homes_stand_beside_those_worked_out(agent, owing, see):
    owing_home(agent, ref="second")
    StoredStanding.objects.filter(unit=owing).delete()
    refs = [line.home.ref for line in see().context["lines"]]
    assert refs.count("owing") == refs.count("second") > 0


def test_too_many_homes_to_ask_about_another_day_are_told(agent, owing, see, monkeypatch):
    monkeypatch.setattr(reach, "MOST_WORKED_OUT", 0)
    later = LAST_COPY_DAY + timedelta(1)
    response = see(on=later.isoformat())
    assert "the duties known today" in response.content.decode()
    assert (LAST_COPY_DAY, True) in [(due, late) for *_, due, late in shown(response)]
    assert "the duties known today" not in see().content.decode()


def test_a_landlord_sees_the_duties_of_their_own_homes_only(agent, owing):
    owing_home(agent, ref="theirs", landlord_ref="L2")
    user = make_user(agent.agency, "landlord", landlord=owing.landlord)
    response = signed_in(user).get(reverse("duties"))
    assert {line.home.ref for line in response.context["lines"]} == {"owing"}
    assert response.context["duties"].total == len(response.context["lines"])
    assert ">Landlord</th>" not in response.content.decode()
    other_day = signed_in(user).get(reverse("duties"), {"on": "2026-12-10"})
    assert {line.home.ref for line in other_day.context["lines"]} == {"owing"}


def test_the_download_holds_every_page(agent, owing, see):
    for number in range(60):
        Due.objects.create(
            unit=owing, is_duty=True, code="gb_gas_check.copy_to_tenant", due=DAY - timedelta(days=number),
            of="=cmd()", party="tenant",
        )  # fmt: skip
    total = see().context["duties"].total
    assert len(see().context["lines"]) == 50 < total
    said = signed_in(agent).get(reverse("duties_download", args=["csv"])).content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(said)))
    assert len(rows) == total + 1
    assert rows[0][0] == "Last day"
    assert not any(cell.startswith("=") for row in rows for cell in row)
    book = load_workbook(io.BytesIO(signed_in(agent).get(reverse("duties_download", args=["xlsx"])).content))
    assert book.active.max_row == total + 1


def test_a_download_is_narrowed_like_the_list(agent, owing):
    address = reverse("duties_download", args=["csv"])
    rows = signed_in(agent).get(address, {"party": "council"}).content.decode("utf-8-sig").splitlines()
    assert len(rows) == 1


def test_the_number_of_queries_does_not_grow_with_the_homes(agent, owing, see):
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            see()
        return len(caught)

    queries()
    few = queries()
    for number in range(8):
        owing_home(agent, ref=f"more-{number}", landlord_ref=f"M{number}")
    assert queries() == few


def test_nothing_owed_is_said_in_words():
    agent = make_user(make_agency())
    make_home(agent.agency, tenancies=(), events=())
    assert "Nothing is owed" in signed_in(agent).get(reverse("duties")).content.decode()
