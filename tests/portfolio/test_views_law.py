"""The law pages: every requirement, value, announcement and gap of every nation is on its page, in words."""

import re
from datetime import date
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from portfolio import words
from portfolio.law.lawbook import covers
from portfolio.law.loader import load, register
from portfolio.law.model import NATIONS, SCHEMES
from portfolio.selectors.law import nation_page, slug_of, value_words
from tests.factories import DAY

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]


def page(nation: str, **asked: str):
    return Client().get(reverse("law_nation", args=[slug_of(nation)]), asked)


def text(response) -> str:
    """What a reader sees, with single spaces."""
    bare = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", unescape(bare))


def flat(says: str) -> str:
    return re.sub(r"\s+", " ", says).strip()


def topics(nation: str):
    return [topic for pack in load().packs if covers(pack, nation) for topic in pack.topics]


def test_the_first_page_leads_to_every_nation_without_a_log_in(client):
    response = client.get(reverse("law"))
    for nation in NATIONS:
        assert f'href="/law/{slug_of(nation)}/"' in response.content.decode()
    assert "Not legal advice" in text(response)
    for pack in load().packs:
        assert f"{pack.title}: version {pack.version}" in text(response)


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nations_page_tells_every_requirement_it_holds(nation):
    response = page(nation)
    source, said = response.content.decode(), text(response)
    for topic in topics(nation):
        assert f'id="{topic.id}"' in source
        for wanted in (topic.title, topic.asks, topic.source, topic.checked_by, *topic.duty_titles.values()):
            assert flat(wanted) in said, topic.id
        for note in topic.notes.splitlines():
            assert flat(note) in said, topic.id
        if topic.basis != "house_policy":
            assert f'href="{topic.url}"' in source


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nations_page_tells_every_value_with_its_days_and_source(nation):
    said = text(page(nation))
    for topic in topics(nation):
        for name, entries in topic.values.items():
            for one in entries:
                end = f" until {one.end:%-d %b %Y}" if one.end else ""
                row = f"{topic.labels[name]} {value_words(name, one.value)}"
                assert row in said, (topic.id, name)
                assert f"from {one.start:%-d %b %Y}{end}" in said, (topic.id, name)
                assert one.source in said, (topic.id, name)


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nations_page_tells_what_is_announced_and_that_it_is_not_in_force(nation):
    said = text(page(nation))
    announced = [one for topic in topics(nation) for one in topic.announced]
    for one in announced:
        assert one.says in said
    assert said.count("Announced, not in force") == len(announced)


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nations_page_tells_everything_the_register_knows(nation):
    said = text(page(nation))
    held = {topic.id: topic.title for topic in topics(nation)}
    for one in register():
        if nation in one.nations:
            assert held.get(one.id, one.title) in said, one.id
            assert flat(one.note) in said, one.id


@pytest.mark.parametrize("nation", NATIONS)
def test_no_code_of_ours_is_shown_as_a_word(nation):
    said = text(page(nation))
    assert re.findall(r"\b[a-z]+_[a-z_]+\b", said) == []


def test_every_value_of_words_is_told_in_plain_english():
    raw = {
        f"{topic.id}.{name}: {one}"
        for topic in load().topics.values()
        for name, entries in topic.values.items()
        for entry in entries
        for one in (entry.value if isinstance(entry.value, tuple) else (entry.value,))
        if isinstance(one, str) and value_words(name, one) == one and one not in (*words.RATING, "none")
    }
    assert raw == set()


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (True, "yes"),
        (False, "no"),
        (0, "0"),
        (40000, "40,000"),
        (date(2025, 12, 1), "1 December 2025"),
        ((), "none"),
        (("registered_provider", "resident"), "Registered provider of social housing; Resident landlord"),
        (("damp_mould emergency",), "Damp and mould: Emergency"),
        ("wales", "Wales"),
    ],
)
def test_values_are_told_in_words(value, said):
    assert value_words("name", value).startswith(said)


def test_money_is_told_in_pounds():
    assert value_words("max_penalty_gbp", 30000) == "£30,000"


def test_codes_that_come_with_their_scheme_have_words_for_every_scheme():
    for scheme in SCHEMES:
        assert value_words("name", (f"{scheme} C1",)).startswith(words.SCHEME[scheme])


@pytest.mark.parametrize(
    ("day", "penalty"),
    [(date(2025, 10, 31), "£30,000"), (date(2025, 11, 1), "£40,000"), (DAY, "£40,000")],
)
def test_the_value_that_holds_on_the_day_is_marked(day, penalty):
    said = text(page("england", on=day.isoformat()))
    section = said[said.index("Years between inspections at most") :]
    marked = re.search(r"(£[\d,]+) holds on ([^ ]+ [^ ]+ [^ ]+)", section)
    assert marked is not None
    assert marked.groups() == (penalty, f"{day:%-d %b %Y}")


def test_one_value_of_each_holds_on_a_day_and_none_before_the_law_begins():
    asked = [one for part in nation_page("england", DAY).parts for one in part.asked]
    assert {sum(held.holds for held in value.entries) for one in asked for value in one.values} == {1}
    early = [one for part in nation_page("england", date(1990, 1, 1)).parts for one in part.asked]
    assert not any(one.begun or held.holds for one in early for value in one.values for held in value.entries)
    assert "What was asked on 1 Jan 1990 is not held" in text(page("england", on="1990-01-01"))


@pytest.mark.parametrize("wrong", ["never", "2026-02-30", "0026-01-01"])
def test_a_wrong_day_is_told_and_the_page_is_of_today(wrong):
    response = page("wales", on=wrong)
    assert response.status_code == 200
    assert "Enter a" in text(response)
    assert "25 Nov 2026 (today)" in text(response)


@pytest.mark.parametrize("slug", ["france", "northern_ireland", "great-britain"])
def test_a_nation_that_is_none_is_absent(slug):
    assert Client().get(f"/law/{slug}/").status_code == 404


def test_law_pages_ask_the_database_nothing(django_assert_num_queries):
    with django_assert_num_queries(0):
        page("scotland")
