"""The board: every home one may see, with today's answers or another day's, and what it shows as a download."""

import csv
import io
from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from portfolio import gate
from portfolio.models import StoredStanding, Unit
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_homes, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

LAST_GAS_DAY = date(2027, 5, 20)


@pytest.fixture(scope="module")
def common(in_common):
    """An agent, and a clear home of theirs."""
    agent = make_user(make_agency("Latchford Lettings"))
    return agent, make_home(agent.agency, ref="clear", label="Flat 2")


@pytest.fixture
def agent(common):
    return deepcopy(common[0])


@pytest.fixture
def board(agent):
    client = Client()
    client.force_login(agent)

    def get(**asked):
        return client.get(reverse("homes"), asked)

    return get


@pytest.fixture
def clear(common):
    return deepcopy(common[1])


@pytest.fixture
def barred(agent):
    """No electrical report: it cannot be let, but it can be sold."""
    lacking = without(CLEAR_FLAT, "e1").certificates
    return make_home(agent.agency, ref="barred", label="Flat 10", landlord_ref="L2", certificates=lacking)


def shown(response) -> list[str]:
    return [row.record.ref for row in response.context["table"].rows]


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_board_says_in_words_what_can_be_let_and_until_when(board, clear, barred):
    page = text(board())
    assert "2</strong> homes on" in page
    assert "Can be let" in page
    assert "20 May 2027" in page
    assert "Cannot be let" in page
    assert "There is no electrical report." in page


def test_short_names_come_before_long_ones(board, clear, barred):
    assert shown(board()) == ["clear", "barred"]


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        ("let", ["clear"]),
        ("not-let", ["barred"]),
        ("sale", ["clear", "barred"]),
        ("not-sale", []),
        ("neither", []),
        ("let-ends", []),
        ("sale-ends", []),
        ("marked", []),
        ("not-marked", ["clear"]),
    ],
)
def test_board_is_narrowed_by_answer_the_same_from_store_and_worked_out(
    board, clear, barred, answer, expected
):
    assert shown(board(answer=answer)) == expected
    StoredStanding.objects.filter(unit=barred).delete()
    assert shown(board(answer=answer)) == expected


@pytest.mark.parametrize(("days_before", "ends_soon"), [(31, False), (30, True), (0, True), (-1, False)])
def test_an_answer_ends_soon_within_thirty_days(board, clear, days_before, ends_soon):
    response = board(answer="let-ends", on=(LAST_GAS_DAY - timedelta(days=days_before)).isoformat())
    assert bool(shown(response)) is ends_soon


@pytest.mark.parametrize(("days_before", "door"), [(61, "ajar"), (60, "clock"), (0, "clock"), (-1, "barred")])
def test_the_door_has_a_clock_within_sixty_days_of_the_end(board, clear, days_before, door):
    row = board(on=(LAST_GAS_DAY - timedelta(days=days_before)).isoformat()).context["table"].rows[0]
    assert f"#door-{door}" in row.get_cell("let")


def test_a_mark_is_shown_and_can_be_asked_for(board, agent, clear, barred):
    gate.mark(clear.pk, "let", actor=agent, moment=at())
    response = board(answer="marked")
    assert shown(response) == ["clear"]
    assert "Marked to let" in text(response)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("flat 10", ["barred"]),
        ("tannery L2", ["barred"]),
        ("ZZ1", ["clear", "barred"]),
        ("oxcombe flat", ["clear", "barred"]),
        ("no such", []),
    ],
)
def test_board_is_narrowed_by_words_in_names_address_and_landlord(board, clear, barred, words, expected):
    assert shown(board(q=words)) == expected


def test_board_is_narrowed_by_landlord_and_building(board, clear, barred):
    assert shown(board(landlord=barred.landlord_id)) == ["barred"]
    assert shown(board(building=clear.building_id)) == ["clear", "barred"]


def test_another_day_is_asked_about_and_says_so(board, clear):
    after = board(on="2027-05-21")
    assert "Answers for 21 May 2027." in text(after)
    assert after.context["board"].counts["let"] == 0
    assert board(on="2027-05-20").context["board"].counts["let"] == 1


def test_links_of_another_day_keep_it(board, clear):
    assert f'{reverse("home", args=[clear.pk])}?on=2027-05-21"' in text(board(on="2027-05-21"))


@pytest.mark.parametrize(
    "asked", [{"on": "31/02/2027"}, {"answer": "perhaps"}, {"landlord": "x"}, {"q": "a " * 9}]
)
def test_what_cannot_be_understood_is_an_error_and_not_an_empty_board(board, clear, asked):
    response = board(**asked)
    assert response.status_code == 200
    assert response.context["filter"].form.errors
    assert "errorlist" in text(response)
    assert shown(response) == ["clear"]


def test_a_stale_answer_is_never_shown(agent, clear, time_machine):
    assert StoredStanding.objects.get(unit=clear).let_until == LAST_GAS_DAY
    time_machine.move_to(at(LAST_GAS_DAY + timedelta(days=1)).at, tick=False)
    client = Client()
    client.force_login(agent)
    response = client.get(reverse("homes"))
    assert response.context["board"].counts["let"] == 0
    assert "gas check is out of date" in text(response)


def test_a_home_without_a_stored_answer_is_worked_out(board, clear):
    StoredStanding.objects.all().delete()
    assert board().context["board"].counts["let"] == 1
    assert not StoredStanding.objects.exists()


@pytest.mark.parametrize("column", ["home", "landlord", "let", "sale", "reason"])
def test_every_column_sorts_both_ways_from_store_and_worked_out(board, clear, barred, column):
    up, down = shown(board(sort=column)), shown(board(sort=f"-{column}"))
    assert sorted(up) == sorted(down) == ["barred", "clear"]
    if column in ("home", "landlord", "let"):
        assert up == down[::-1]
    StoredStanding.objects.filter(unit=clear).delete()
    assert (shown(board(sort=column)), shown(board(sort=f"-{column}"))) == (up, down)


def many(agent, number: int) -> None:
    make_homes(agent.agency, *({"ref": f"home-{number}-{at_number:03}"} for at_number in range(number)))


def test_the_board_of_today_takes_the_same_queries_for_two_homes_and_for_fifty(agent, clear, board):
    many(agent, 1)
    board()
    with CaptureQueriesContext(connection) as few:
        board()
    many(agent, 48)
    with CaptureQueriesContext(connection) as more:
        response = board()
    assert len(shown(response)) == 50
    assert len(more) == len(few) <= 12


def test_another_day_takes_the_same_queries_for_two_homes_and_for_ten(agent, clear, board):
    many(agent, 1)
    board(on="2030-01-01")
    with CaptureQueriesContext(connection) as few:
        board(on="2030-01-01")
    many(agent, 8)
    with CaptureQueriesContext(connection) as more:
        board(on="2030-01-01")
    assert len(more) == len(few) <= 24


@pytest.mark.parametrize("per_page", ["-1", "0", "1", "1000000", "many"])
def test_the_address_does_not_set_the_length_of_a_page(board, clear, per_page):
    response = board(per_page=per_page)
    assert response.status_code == 200
    assert response.context["table"].paginator.per_page == 50


@pytest.mark.parametrize("page", ["-1", "0", "99999999999999999999999", "last but one"])
def test_a_page_that_is_not_there_is_answered_with_one_that_is(board, clear, page):
    assert len(board(page=page).context["table"].page.object_list) == 1


@pytest.mark.parametrize(
    ("day", "held"),
    [("1899-12-31", False), ("1900-01-01", True), ("2200-12-31", True), ("2201-01-01", False)],
)
def test_only_days_that_can_be_worked_with_are_asked_about(board, clear, day, held):
    response = board(on=day, answer="let-ends")
    assert response.status_code == 200
    assert (response.context["filter"].errors == {}) is held


def test_fifty_homes_make_a_page(agent, clear, board):
    many(agent, 50)
    assert len(board(page=2).context["table"].page.object_list) == 1
    assert "page=2" in text(board())


def test_a_landlord_sees_own_homes_only(agent, clear, barred):
    landlord = make_user(agent.agency, "landlord", landlord=barred.landlord)
    client = Client()
    client.force_login(landlord)
    response = client.get(reverse("homes"))
    assert shown(response) == ["barred"]
    assert "landlord" not in response.context["filter"].form.fields
    assert "Flat 2<" not in text(response)


def test_htmx_gets_the_board_alone(agent, clear):
    client = Client()
    client.force_login(agent)
    part = client.get(reverse("homes"), headers={"HX-Request": "true"})
    assert text(part).startswith('<section id="board"')
    assert "HX-Request" in part["Vary"]


def test_csv_holds_what_is_shown_and_nothing_that_runs(agent, clear, barred):
    Unit.objects.filter(pk=barred.pk).update(label="=cmd|' /C calc'!A1")
    client = Client()
    client.force_login(agent)
    response = client.get(reverse("homes_download", args=["csv"]), {"answer": "not-let"})
    assert response["Content-Disposition"] == 'attachment; filename="homes-2026-11-25.csv"'
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert [row["Ref"] for row in rows] == ["barred"]
    assert rows[0]["Home"].startswith("'=")
    assert (rows[0]["Can be let"], rows[0]["Can be sold"], rows[0]["Sale until"]) == (
        "no",
        "yes",
        "2030-09-09",
    )


def test_xlsx_holds_every_page_of_the_chosen_day(agent, clear):
    many(agent, 50)
    client = Client()
    client.force_login(agent)
    response = client.get(reverse("homes_download", args=["xlsx"]), {"on": "2027-05-21", "page": "2"})
    sheet = load_workbook(io.BytesIO(response.content)).active
    assert sheet.max_row == 52
    assert sheet.title == f"Homes on {date(2027, 5, 21)}"
    headings = [cell.value for cell in sheet[1]]
    assert sheet.cell(2, headings.index("Can be let") + 1).value == "no"


def test_the_day_of_the_tests_is_the_frozen_one(board, clear):
    assert board().context["today"] == DAY
