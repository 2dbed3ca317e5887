"""A pack that could give a wrong answer is refused, and the refusal says file, key and cure."""

import re
import shutil
import tomllib
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import PACKS, PackError, load

BROKEN = tomllib.loads(Path(__file__).with_name("broken_packs.toml").read_text(encoding="utf-8"))


@pytest.fixture
def packs(tmp_path: Path) -> Path:
    """A copy of the packs that come with the project, to be spoilt."""
    return Path(shutil.copytree(PACKS, tmp_path / "packs"))


@pytest.mark.parametrize("fault", BROKEN["fault"], ids=lambda fault: fault["name"].replace(" ", "-"))
def test_a_broken_topic_is_refused_with_file_key_and_cure(fault: dict[str, str], packs: Path) -> None:
    assert fault["replace"] in BROKEN["sound"]
    broken = BROKEN["sound"].replace(fault["replace"], fault["by"], 1)
    (packs / "england" / "sound.toml").write_text(broken, encoding="utf-8")
    with pytest.raises(PackError) as refused:
        load(packs)
    file, key, what = str(refused.value).split(": ", 2)
    assert (file, key) == ("england/sound.toml", fault["key"])
    assert fault["says"] in what
    assert len([part for part in what.split(". ") if part]) >= 2, "no cure is given"


def test_the_topic_the_broken_ones_are_made_from_is_sound(packs: Path) -> None:
    (packs / "england" / "sound.toml").write_text(BROKEN["sound"], encoding="utf-8")
    assert load(packs).value("eng_sound", "grace_days", date(2025, 11, 1)) == 21


@pytest.mark.parametrize(
    ("line", "instead", "key", "word"),
    [
        ('name = "house"', 'name = "home"', "name", "folder"),
        ('version = "2026.3"', "", "version", "missing"),
        ("released = 2026-11-25", 'released = "2026-11-25"', "released", "wrong type"),
        ('"wales"', '"atlantis"', "nations", "not known"),
        ('title = "House policy"', 'title = ""', "title", "empty"),
        ('title = "House policy"', 'title = "House policy"\ncolour = "red"', "colour", "unknown key"),
    ],
)
def test_a_broken_pack_file_is_refused(packs: Path, line: str, instead: str, key: str, word: str) -> None:
    file = packs / "house" / "pack.toml"
    text = file.read_text(encoding="utf-8")
    assert line in text
    file.write_text(text.replace(line, instead), encoding="utf-8")
    with pytest.raises(PackError, match=rf"^house/pack\.toml: {key}: .*{word}"):
        load(packs)


def test_a_folder_without_packs_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PackError, match=r"no packs\. Put each pack"):
        load(tmp_path)


def test_one_id_in_two_packs_is_refused(packs: Path) -> None:
    shutil.copy(packs / "house" / "danger.toml", packs / "england" / "danger.toml")
    with pytest.raises(PackError, match=r"^house/danger\.toml: id: 'house_danger' is used twice"):
        load(packs)


def test_a_rule_that_reads_a_topic_nobody_holds_is_refused(packs: Path) -> None:
    (packs / "england" / "hmo_licence.toml").unlink()
    with pytest.raises(PackError, match=r"eng_alarms reads eng_hmo_licence, which no pack holds"):
        load(packs)


def test_one_announced_id_in_two_topics_is_refused(packs: Path) -> None:
    file = packs / "scotland" / "sound.toml"
    text = BROKEN["sound"].replace("eng_sound", "sco_sound")
    more = '[[announced]]\nid = "band_c_2030"\nsays = "The same."\nsource = "A speech"\n\n[gate]'
    file.write_text(text.replace("[gate]", more), encoding="utf-8")
    with pytest.raises(PackError, match=r"'band_c_2030' is in both ew_mees and sco_sound\. Give"):
        load(packs)


@pytest.mark.parametrize(
    ("line", "instead", "key", "word"),
    [
        ("\n2026 = [", "\n# 2026 = [", "days", "not a run of years"),
        ("\n2026 = [", "\n2046 = [", "days", "not a run of years"),
        ("\n2026 = [", "\nsoon = [", "days", "not a run of years"),
        ("2026-11-30,", "2025-11-30,", "days.2026", "not a list of days of that year"),
        ("2026-11-30,", '"30 November",', "days.2026", "not a list of days of that year"),
        ("2026-11-30,", "2026-11-30T00:00:00,", "days.2026", "not a list of days of that year"),
        ("checked_on", "looked_at", "looked_at", "unknown key"),
        ("checked_on = 2026-11-25\n", "", "checked_on", "missing"),
    ],
)
def test_broken_bank_holidays_are_refused(packs: Path, line: str, instead: str, key: str, word: str) -> None:
    file = packs / "scotland" / "bank_holidays.toml"
    text = file.read_text(encoding="utf-8")
    assert line in text
    file.write_text(text.replace(line, instead, 1), encoding="utf-8")
    with pytest.raises(
        PackError, match=rf"^scotland/bank_holidays\.toml: {re.escape(key)}: .*{word}.*\. [A-Z]"
    ):
        load(packs)


def test_bank_holidays_of_no_year_are_refused(packs: Path) -> None:
    file = packs / "wales" / "bank_holidays.toml"
    file.write_text(file.read_text(encoding="utf-8").partition("[days]")[0] + "[days]\n", encoding="utf-8")
    with pytest.raises(PackError, match=r"^wales/bank_holidays\.toml: days: not a run of years"):
        load(packs)


def test_the_bundled_packs_are_read_once() -> None:
    assert load() is load()


@pytest.fixture
def book() -> Lawbook:
    return load()


def test_a_value_is_the_one_of_its_day(book: Lawbook) -> None:
    values = [
        book.value("eng_hmo_licence", "max_penalty_gbp", day) for day in (date(2026, 4, 30), date(2026, 5, 1))
    ]
    assert values == [30000, 40000]


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda book: book.value("eng_moat", "depth", date(2026, 1, 1)), "No requirement 'eng_moat'"),
        (lambda book: book.value("eng_eicr", "depth", date(2026, 1, 1)), "holds no value 'depth'"),
        (
            lambda book: book.value("eng_hmo_licence", "max_penalty_gbp", date(2017, 4, 5)),
            "held from 2017-04-06",
        ),
    ],
)
def test_a_value_not_held_is_an_error_that_says_which(
    book: Lawbook, ask: Callable[[Lawbook], object], says: str
) -> None:
    with pytest.raises(LookupError, match=says):
        ask(book)


def test_every_value_says_where_it_stands_and_how_sure_it_is(book: Lawbook) -> None:
    for topic in book.topics.values():
        assert topic.url.startswith("https://")
        for entries in topic.values.values():
            for entry in entries:
                assert entry.source
                assert entry.basis != "memory" or entry.confidence in ("high", "med", "low"), (
                    topic.id,
                    entry,
                )


def test_announced_law_is_held_but_changes_no_answer(packs: Path, book: Lawbook) -> None:
    file = packs / "england_wales" / "mees.toml"
    text = file.read_text(encoding="utf-8")
    assert "[[announced]]" in text
    head, _, rest = text.partition("[[announced]]")
    file.write_text(head + rest[rest.index("[[values") :], encoding="utf-8")
    assert book.topics["ew_mees"].announced
    assert load(packs).topics["ew_mees"].values == book.topics["ew_mees"].values
