"""The typical defects: each complete, none twice, and a bad file refused with its place and the cure."""

from pathlib import Path

import pytest

from inspections import words
from inspections.catalogue import FOLDER, MOST_TITLE, Typical, read, typical
from inspections.cautions import load
from inspections.paperwork import WORKS
from inspections.urgency import urgency
from portfolio.law.model import CODES
from portfolio.law.packfile import PackError

ALL = list(typical().values())
ids = [one.id for one in ALL]


@pytest.mark.parametrize("one", ALL, ids=ids)
def test_each_is_complete_and_of_its_scheme(one: Typical) -> None:
    assert one.title
    assert len(one.title) <= MOST_TITLE
    assert one.remedy
    assert one.basis
    assert one.review.startswith("by ")
    assert one.trade in words.TRADE
    assert one.work in WORKS
    assert one.code in (*CODES[one.scheme], "")
    assert one.code or one.unless
    assert not set(one.cautions) - load().says.keys()
    assert bool(one.edition) == bool(one.regulation)


@pytest.mark.parametrize("one", [one for one in ALL if one.scheme == "bs7671"], ids=lambda one: one.id)
def test_each_electrical_one_has_its_regulation_with_edition_and_says_that_it_is_from_memory(
    one: Typical,
) -> None:
    assert one.regulation
    assert one.edition == "BS 7671:2018+A2:2022"
    assert one.basis.endswith("A4 not checked")


@pytest.mark.parametrize("one", ALL, ids=ids)
def test_words_are_for_users(one: Typical) -> None:
    """One line each, a capital first, no full stop; conditions begin small, for they follow on."""
    for says in (one.title, one.remedy):
        assert says[0].isupper() or says[0].isdigit()
        assert not says.endswith(".")
    for says in (one.title, one.remedy, one.unless):
        assert says == says.strip()
        assert "'" not in says
        assert "  " not in says


def test_no_two_say_the_same() -> None:
    assert len({one.title.casefold() for one in ALL}) == len(ALL)


def test_nobody_but_a_gas_engineer_classes_gas() -> None:
    assert [one.id for one in ALL if one.scheme == "igem_g11"] == []
    gas = [one for one in ALL if one.trade == "gas"]
    assert gas
    assert all(one.suspected for one in gas)
    assert all(
        urgency(one.scheme, one.code, found=None, trade="gas", suspected=True).band <= 1 for one in gas
    )
    assert not [one.id for one in ALL if one.trade != "gas" and one.suspected]


@pytest.mark.parametrize("one", ALL, ids=ids)
def test_what_stops_now_brings_a_caution_and_what_only_improves_brings_none(one: Typical) -> None:
    if not one.code:
        return
    band = urgency(one.scheme, one.code, found=None, trade=one.trade, suspected=one.suspected).band
    if band == 0:
        assert one.cautions
    if one.code in ("C3", "FI"):
        assert not set(one.cautions) - {"asbestos", "network_equipment"}


def test_the_work_is_work_of_the_trade_or_of_an_electrician() -> None:
    """A gas defect is not to end in an electrician's paper, nor the other way round."""
    for one in ALL:
        trades = WORKS[one.work].trades
        assert ("gas" in trades) == (one.trade == "gas"), one.id
        if one.trade == "distributor":
            assert trades == ("distributor",), one.id


BAD = """
group = "Things"
scheme = "bs7671"
trade = "electrical"
edition = "BS 7671:2018+A2:2022"
basis = "from memory"
review = "by an electrician"

[defects.XX01]
title = "Thing loose"
code = "C2"
regulation = "134.1.1"
remedy = "Fix it"
work = "alteration"
"""
AGAIN = BAD[BAD.index("[defects.XX01]") :]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('code = "C2"', 'code = "ID"', r"defects\.XX01\.code: 'ID' is not known\. Use one of: C1, C2, C3, FI"),
        ('code = "C2"\n', "", r"defects\.XX01\.code: missing, and nothing says when there is one"),
        ('title = "Thing loose"\n', "", r"defects\.XX01\.title: missing\. Add title"),
        ('remedy = "Fix it"', 'remedy = ""', r"defects\.XX01\.remedy: empty"),
        ('"Thing loose"', f'"{"x" * 121}"', r"defects\.XX01\.title: longer than 120 characters"),
        ('work = "alteration"', 'work = "alteration"\nwrok = "a"', r"defects\.XX01\.wrok: unknown key"),
        ('edition = "BS 7671:2018+A2:2022"\n', "", r"defects\.XX01\.regulation: of which edition"),
        ('scheme = "bs7671"', 'scheme = "bs"', r"defects\.XX01\.scheme: 'bs' is not known"),
        ('work = "alteration"\n', 'work = "alteration"\n' + AGAIN.replace("XX01", "XX02"),
         r"defects\.XX02\.title: is the title of XX01 too"),
        ("[defects.XX01]", "[defects]\nXX01 = 1\n[defects.XX02]", r"defects\.XX01: not a table"),
        ("[defects.XX01]", "[defects.XX01", "not readable as TOML"),
        (BAD, 'group = "Things"', r"scheme: missing"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_id_key_and_cure(tmp_path: Path, old: str, new: str, says: str) -> None:
    (tmp_path / "things.toml").write_text(BAD, encoding="utf-8")
    assert list(read(tmp_path)) == ["XX01"]
    assert old in BAD
    (tmp_path / "things.toml").write_text(BAD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PackError, match=rf"things\.toml: .*{says}"):
        read(tmp_path)


def test_an_id_used_in_two_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(BAD, encoding="utf-8")
    (tmp_path / "b.toml").write_text(BAD.replace("Thing loose", "Thing lost"), encoding="utf-8")
    with pytest.raises(PackError, match=r"b\.toml: defects\.XX01: this id is used twice"):
        read(tmp_path)


def test_a_folder_without_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="no typical defects"):
        read(tmp_path)


def test_what_is_kept_is_what_the_files_say() -> None:
    assert read(FOLDER) == typical()
    assert typical() is typical()
