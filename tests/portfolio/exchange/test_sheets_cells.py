"""Single cells: days, numbers, words and the short lists. What can be read two ways is refused."""

import re
from contextlib import suppress
from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portfolio.exchange.sheets import cells, lists
from portfolio.exchange.sheets.cells import EPOCH_1904, Bad, Cell, day, day_in_text, plain
from portfolio.exchange.sheets.headings import column_of, columns, resolve
from portfolio.exchange.sheets.write import FORMULA_STARTS

THIRD_OF_APRIL = date(2026, 4, 3)
MIDNIGHT = datetime(2026, 4, 3)  # noqa: DTZ001 - a workbook knows no zones


@pytest.mark.parametrize(
    "text",
    [
        "03/04/26",
        "3/4/2026",
        "03.04.2026",
        "03-04-26",
        "3 4 2026",
        "3 Apr 2026",
        "3 April 2026",
        "3rd April 2026",
        "3-Apr-26",
        "3apr2026",
        "3rd of April, 2026",
        "Fri 3 April 2026",
        "Friday, 3 April 2026",
        "April 3, 2026",
        "2026-04-03",
        "2026-04-03 00:00:00",
        "2026-04-03T10:30:00",
        "03/04/2026 10:30",
        "46115",
        "46115.5",
    ],
)
def test_every_usual_way_of_writing_a_day_is_read_day_first(text: str) -> None:
    assert day_in_text(text)[0] == THIRD_OF_APRIL


@pytest.mark.parametrize(
    ("text", "cure"),
    [
        ("04/13/2026", "13/04/2026"),
        ("13/25/2026", "3 Apr"),
        ("31/02/2026", "3 Apr"),
        ("29/02/2026", "3 Apr"),
        ("04/2026", "day, month and year"),
        ("April 2026", "day, month and year"),
        ("April", "day, month and year"),
        ("2026", "day, month and year"),
        ("1/2", "day, month and year"),
        ("3/4/026", "day, month and year"),
        ("3/4-2026", "day, month and year"),
        ("2026/04/03", "day, month and year"),
        ("20260403", "day, month and year"),
        ("about 3 Apr 2026", "day, month and year"),
        ("3 Apr 2026?", "day, month and year"),
        ("3 Foo 2026", "3 Apr"),
        ("Monday 3 April 2026", "weekday"),
        ("3 Apr 1826", "year"),
        ("3/4/9999", "year"),
        ("12345", "3 Apr"),
        ("99999", "3 Apr"),
        ("٣/٤/٢٠٢٦", "day, month and year"),
    ],
)
def test_a_day_that_is_not_whole_or_cannot_be_is_refused_with_a_cure(text: str, cure: str) -> None:
    with pytest.raises(Bad) as refused:
        day_in_text(text)
    assert cure in refused.value.cure


@pytest.mark.parametrize(
    ("digits", "year"), [("00", 2000), ("26", 2026), ("79", 2079), ("80", 1980), ("99", 1999)]
)
def test_years_of_two_figures_turn_at_eighty_and_say_so(digits: str, year: int) -> None:
    assert day_in_text(f"3/4/{digits}") == (date(year, 4, 3), f"“3/4/{digits}” is read as 3 Apr {year}")


def test_the_leap_day_is_a_day_in_leap_years_only() -> None:
    assert day_in_text("29/02/2028")[0] == date(2028, 2, 29)
    with pytest.raises(Bad):
        day_in_text("29/02/2027")


def test_day_numbers_follow_the_workbook() -> None:
    assert day(Cell("A1", 46115))[0] == THIRD_OF_APRIL
    assert day(Cell("A1", 46115 - 1462, epoch=EPOCH_1904))[0] == THIRD_OF_APRIL
    assert day(Cell("A1", MIDNIGHT))[0] == THIRD_OF_APRIL
    assert day(Cell("A1", THIRD_OF_APRIL))[0] == THIRD_OF_APRIL


@pytest.mark.parametrize("value", [True, time(9, 30), timedelta(days=3), 7, 2026, 20260403, -46115, 1e300])
def test_a_value_that_is_no_day_is_refused(value: object) -> None:
    with pytest.raises(Bad):
        day(Cell("A1", value))


@given(st.text(max_size=40))
def test_no_text_yields_a_day_that_is_not_written_there(text: str) -> None:
    _written(text)


@given(
    st.from_regex(
        r"(\d{1,4}|[A-Za-z]{3,9})[-/. ]?(\d{1,2}(st|rd)?|[A-Za-z]{3,9})[-/. ]{1,2}\d{1,5}", fullmatch=True
    )
)
def test_nor_does_a_text_that_looks_like_one(text: str) -> None:
    _written(text)


def _written(text: str) -> None:
    """Either refused, or the day, the month and the year's last two figures all stand in the text."""
    try:
        made, _ = day_in_text(plain(text))
    except Bad:
        return
    if re.fullmatch(r"\d{5}(\.\d+)?", plain(text)):
        assert (made - date(1899, 12, 30)).days == int(float(plain(text)))
        return
    figures = [int(n) for n in re.findall(r"\d+", text)]
    assert made.day in figures
    assert made.month in figures or made.strftime("%b").casefold() in text.casefold()
    assert any(n in (made.year, made.year % 100) for n in figures)


@given(st.dates(min_value=date(1900, 1, 1), max_value=date(2199, 12, 31)))
def test_a_day_written_with_four_figures_is_read_back(written: date) -> None:
    for form in ("%d/%m/%Y", "%-d.%-m.%Y", "%-d %B %Y", "%a %-d %b %Y", "%Y-%m-%d"):
        assert day_in_text(written.strftime(form))[0] == written


@pytest.mark.parametrize("text", ["", " ", "\u00a0", "N/A", "n/a", "-", "tbc", "TBC ", "unknown", "?", "—"])
def test_words_for_not_recorded_record_nothing(text: str) -> None:
    assert not cells.is_recorded(Cell("A1", text))


@pytest.mark.parametrize("text", ["0", "no", "none", "x", "ok"])
def test_other_words_are_recorded(text: str) -> None:
    assert cells.is_recorded(Cell("A1", text))


@given(st.text())
def test_our_own_apostrophe_comes_off_again(text: str) -> None:
    once = plain(text)
    if FORMULA_STARTS.match(once):
        assert plain(f"'{once}") == once


@pytest.mark.parametrize("text", ["maybe", "x", "1", "y/n", "yes?"])
def test_yes_or_no_is_not_guessed(text: str) -> None:
    with pytest.raises(Bad):
        cells.yes_no(Cell("A1", text))


@pytest.mark.parametrize("text", ["-1", "2.5", "two", "3 ", "10000", "1e3", "２"])
def test_only_whole_numbers_in_range_are_counts(text: str) -> None:
    if text == "3 ":
        assert cells.whole_number(Cell("A1", text), 0, 9999) == 3
        return
    with pytest.raises(Bad):
        cells.whole_number(Cell("A1", text), 0, 9999)


def test_rooms_are_listed_by_storey() -> None:
    said = lists.rooms(Cell("A1", "Ground: hall, lounge\u00a0, kitchen; 1: landing, 2 bedrooms, bathroom"))
    assert [(room.level, room.use, room.at) for room in said] == [
        (0, "hall", 1), (0, "living", 1), (0, "kitchen", 1),
        (1, "landing", 1), (1, "bedroom", 1), (1, "bedroom", 2), (1, "bathroom", 1),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["hall, kitchen", "0: cellar bar", "x: hall", "0: 99 bedroom", "0:", ";"])
def test_rooms_that_cannot_be_placed_are_refused(text: str) -> None:
    with pytest.raises(Bad):
        lists.rooms(Cell("A1", text))


def test_alarms_say_what_was_written_and_no_more() -> None:
    smoke, co = lists.alarms(
        Cell("A1", "Smoke alarm hall mains interlinked working tested 1/11/2026; CO kitchen sealed battery")
    )
    assert smoke == lists.AlarmSaid(
        "smoke", lists.Place("hall", None), "mains", True, True, None, date(2026, 11, 1)
    )
    assert co == lists.AlarmSaid("co", lists.Place("kitchen", None), "sealed_battery")


@pytest.mark.parametrize(
    "text",
    ["hall mains", "smoke hall mains sealed battery", "smoke hall tested", "smoke hall tested 31/2/2026",
     "smoke somewhere", "smoke hall mains!", "smoke hall working not working"],
)  # fmt: skip
def test_alarms_that_are_not_understood_are_refused(text: str) -> None:
    with pytest.raises(Bad):
        lists.alarms(Cell("A1", text))


def test_a_boiler_is_gas_only_in_a_column_of_gas() -> None:
    cell = Cell("A1", "boiler kitchen landlord 2019-06-03")
    (boiler,) = lists.appliances(cell, gas=True)
    assert (boiler.kind, boiler.owner, boiler.installed) == ("gas_boiler", "landlord", date(2019, 6, 3))
    with pytest.raises(Bad):
        lists.appliances(cell, gas=False)


@given(st.text(max_size=60))
def test_no_text_makes_a_reader_fail_otherwise_than_by_refusing(text: str) -> None:
    from portfolio.exchange.sheets.values import READERS

    for read in READERS.values():
        with suppress(Bad):
            read(Cell("A1", text))


@pytest.mark.parametrize(
    ("heading", "key"),
    [
        ("EICR Exp. Date", "eicr.until"),
        ("eicr expiry (dd/mm/yyyy)", "eicr.until"),
        ("Gas Safety Cert Expiry", "gas_safety_record.until"),
        ("CP12", "gas_safety_record.inspected"),
        ("HMO License No.", "hmo_licence.number"),
        ("Landlord's E-Mail", "landlord_email"),
        ("Flat No", "label"),
        (" POST CODE ", "postcode"),
        ("Move-in date", "tenancy_start"),
        ("Rent pcm", None),
        ("Bedrooms", None),
        ("", None),
    ],
)
def test_headings_are_known_by_many_names(heading: str, key: str | None) -> None:
    column = column_of(heading)
    assert (column.key if column else None) == key


def test_our_own_headings_are_all_known() -> None:
    for key, column in columns().items():
        assert column_of(column.title) == columns()[key]


def test_a_bare_expiry_is_read_with_the_group_above_it() -> None:
    found = resolve(["Ref", "Date", "Expiry", "Expiry"], ["", "EICR", "", "EPC"])
    assert [column.key if column else None for column in found] == [
        "ref", "eicr.inspected", "eicr.until", "epc.until",
    ]  # fmt: skip
