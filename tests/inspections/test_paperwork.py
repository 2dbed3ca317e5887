"""Which papers work leaves: every kind of work, place, nation and day has an answer, and not knowing is never "no"."""

import re
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections import words
from inspections.paperwork import PLACES, WORKS, expected, missing
from inspections.paperwork.data import FOLDER, load, read
from inspections.paperwork.places import MEANS
from portfolio.law.model import CERTIFICATES, NATIONS
from portfolio.law.packfile import PackError
from portfolio.words import ROOM_USE

DAY = date(2026, 11, 25)
SURE = [place for place in PLACES if place not in MEANS]
works = st.sampled_from(sorted(WORKS))
places = st.sampled_from(sorted(PLACES))
nations = st.sampled_from(NATIONS)
days = st.sampled_from(
    [date(1999, 1, 1), date(2004, 12, 31), date(2005, 1, 1), date(2005, 3, 31), date(2005, 4, 1),
     date(2013, 4, 5), date(2013, 4, 6), DAY, date(2060, 1, 1)]
)  # fmt: skip


def answer(work: str, place: str | None, nation: str | None, on: date = DAY) -> str:
    return expected(work, place=place, nation=nation, on=on).notifiable


@given(works, st.none() | places, st.none() | nations, days)
def test_every_question_has_a_full_answer(work: str, place: str | None, nation: str | None, on: date) -> None:
    found = expected(work, place=place, nation=nation, on=on)
    assert found.notifiable in ("yes", "no", "not_known")
    assert found.notify_says.endswith(".")
    assert found.notify_basis
    assert found.notify_source
    assert found.asked or found.says.endswith(".")
    assert bool(found.routes) == (found.notifiable == "yes")
    compliance = [ask for ask in found.asked if ask.kinds == ("building_work_notice",)]
    assert [ask.within_days for ask in compliance] == ([30] if found.notifiable == "yes" else [])
    for ask in found.asked:
        assert set(ask.kinds) <= set(CERTIFICATES)
        assert ask.says
        assert ask.who
        assert ask.basis
        assert ask.source


@given(works, places, nations, days)
def test_what_is_not_recorded_never_turns_into_another_answer(
    work: str, place: str, nation: str, on: date
) -> None:
    """With less on record the answer is the same or not known; with more, never the contrary."""
    full = answer(work, place, nation, on)
    for less, of in ((None, nation), (place, None), (None, None)):
        assert answer(work, less, of, on) in (full, "not_known")


@given(works, st.none() | places, st.none() | nations, days)
def test_a_no_means_no_wherever_it_may_be(work: str, place: str | None, nation: str | None, on: date) -> None:
    if answer(work, place, nation, on) != "no":
        return
    maybe = MEANS.get(place, (place,)) if place else SURE
    for one in maybe:
        for of in [nation] if nation else NATIONS:
            assert answer(work, one, of, on) == "no"


@pytest.mark.parametrize(
    ("work", "place", "nation", "says"),
    [
        ("alteration", None, "england", "the place of the work is not recorded"),
        ("alteration", "kitchen", None, "the nation of the home is not recorded"),
        ("alteration", None, None, "the nation of the home is not recorded, and the place of the work"),
        ("alteration", "bathroom", "england", "whether the work is in the zones round the bath or shower"),
        ("rewire", None, None, "the nation of the home is not recorded."),
        ("rewire", None, "scotland", "Ask the council’s building standards."),
        ("gas_appliance", None, "northern_ireland", "Ask it."),
        ("other_work", "kitchen", "england", "what exactly was done"),
    ],
)
def test_not_known_names_what_is_missing(work: str, place: str | None, nation: str | None, says: str) -> None:
    found = expected(work, place=place, nation=nation, on=DAY)
    assert found.notifiable == "not_known"
    assert says in found.notify_says


@pytest.mark.parametrize(
    ("work", "place", "nation", "found"),
    [
        ("alteration", None, "northern_ireland", "no"),
        ("alteration", "bathroom", "wales", "yes"),
        ("rewire", None, "england", "yes"),
        ("accessory_swap", None, None, "no"),
    ],
)
def test_what_cannot_matter_is_not_asked_for(
    work: str, place: str | None, nation: str | None, found: str
) -> None:
    assert answer(work, place, nation) == found


def test_a_paper_of_the_same_kind_will_do() -> None:
    papers = expected("alteration", place="bath_zone", nation="england", on=DAY)
    assert [ask.kinds for ask in papers.asked] == [("minor_works", "eic"), ("building_work_notice",)]
    assert missing(papers, []) == papers.asked
    assert missing(papers, ["eic"]) == papers.asked[1:]
    assert missing(papers, ["minor_works", "building_work_notice", "epc"]) == ()
    assert missing(expected("plumbing", place=None, nation=None, on=DAY), []) == ()


@pytest.mark.parametrize(
    ("asks", "says"),
    [
        ({"work": "rewiring"}, "work: 'rewiring' is not known. Use one of: rewire,"),
        ({"place": "attic"}, "place: 'attic' is not known. Use one of: living,"),
        ({"nation": "ireland"}, "nation: 'ireland' is not known. Use one of: england,"),
    ],
)
def test_what_is_not_known_is_refused_with_the_cure(asks: dict[str, str], says: str) -> None:
    asked: dict[str, Any] = {"work": "rewire", "place": "hall", "nation": "wales"} | asks
    with pytest.raises(ValueError, match=f"^{re.escape(says)}"):
        expected(asked["work"], place=asked["place"], nation=asked["nation"], on=DAY)


def test_every_use_of_a_room_is_a_place() -> None:
    assert set(ROOM_USE) <= set(PLACES)


def test_every_trade_has_its_words_and_every_ask_and_table_is_used() -> None:
    book = load()
    assert {trade for work in WORKS.values() for trade in work.trades} <= set(words.TRADE)
    assert {ask for work in WORKS.values() for ask in work.asks} | {"compliance"} == set(book.asks)
    assert {work.notify for work in WORKS.values()} == set(book.notify)
    assert {rule.routes for rules in book.notify.values() for rule in rules} - {""} == set(book.routes)
    assert len({work.label for work in WORKS.values()}) == len(WORKS)
    assert max(len(code) for code in WORKS) <= 40


def test_no_rule_stands_in_the_shadow_of_those_before_it() -> None:
    """A rule that can never answer is a rule that somebody believes in."""
    edges = [date.min, date(2004, 12, 31), date(2005, 1, 1), date(2005, 3, 31), date(2005, 4, 1), date(2013, 4, 5),
             date(2013, 4, 6), date.max]  # fmt: skip
    for name, rules in load().notify.items():
        first = {
            next(rule for rule in rules if rule.fits(nation, place, day))
            for nation in NATIONS for place in SURE for day in edges
        }  # fmt: skip
        idle = [rule for rule in rules if rule not in first]
        assert [rule for rule in idle if not rule.fits_all] == [], name


WRONG = [
    ("works.toml", 'notify = "alterations"', 'notify = "alteration"', r"\.notify: 'alteration' is not known"),
    ("works.toml", 'asks = ["minor"]', 'asks = ["minr"]', r"\.asks: 'minr' is not known"),
    ("works.toml", 'asks = ["minor"]', "asks = []", r"\.says: missing where no paper is asked for"),
    ("works.toml", 'kinds = ["eic"]', 'kinds = ["eci"]', r"asks\.installation\.kinds: 'eci' is not known"),
    ("works.toml", 'kinds = ["eic"]', "kinds = []", r"asks\.installation\.kinds: empty"),
    ("works.toml", "within_days = 28", 'within_days = "28"', r"asks\.gas_record\.within_days: '28' is of the wrong"),
    ("works.toml", "[asks.compliance]", "[asks.complying]", r"asks\.compliance: missing"),
    ("works.toml", "[works.rewire]\n", "[works]\nrewire = 1\n[works.rewiring]\n", r"works\.rewire: not a table"),
    ("notify.toml", 'answer = "yes"', 'answer = "maybe"', r"notify\.circuits\[0\]\.answer: 'maybe' is not known"),
    ("notify.toml", 'routes = "england_2013"\n', "", r"notify\.circuits\[0\]\.routes: belongs to a yes"),
    ("notify.toml", "until = 2004-12-31", "from = 2005-01-01\nuntil = 2004-12-31", r"\.until: .* is before from"),
    ("notify.toml", 'places = ["bath_zone"]', 'places = ["bathroom"]', r"\.places: 'bathroom' is not known"),
    ("notify.toml", '[[notify.like_for_like]]\n', '[[notify.like_for_like]]\nnations = ["wales"]\n',
     r"notify\.like_for_like\[0\]: some nation, place or day has no answer"),
    ("notify.toml", "[[notify.like_for_like]]", "[notify.like_for_like]",
     r"notify\.like_for_like: not a list of rules"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "says"), WRONG, ids=[one[3] for one in WRONG])
def test_a_bad_file_is_refused_with_key_and_cure(
    tmp_path: Path, name: str, old: str, new: str, says: str
) -> None:
    for file in FOLDER.glob("*.toml"):
        shutil.copy(file, tmp_path)
    text = (tmp_path / name).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PackError, match=rf"{name}: .*{says}"):
        read(tmp_path)
