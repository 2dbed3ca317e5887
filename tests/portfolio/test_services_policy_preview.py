"""What a house policy would do is counted before anybody asks for it, and nothing is stored."""

from datetime import date

import pytest

from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Clearance, Event, HousePolicy
from portfolio.services import policy_preview
from tests.factories import at, make_agency, make_home, make_user, put_in_force, with_band

pytestmark = [pytest.mark.django_db, pytest.mark.database]

BAND_B = {"worst_band": "B"}
"""The flat of these tests has band C."""
C3 = {"also_dangers": {"bs7671": ["C3"]}}
A_C3 = (law.Defect("d1", "bs7671", "C3", "Old board", date(2026, 11, 2)),)


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


@pytest.fixture
def in_force(agency, agent):
    return lambda settings: put_in_force(agency, settings, actor=agent)


def test_the_preview_counts_without_storing(agency, agent):
    marked, better = make_home(agency, label="Flat 2"), make_home(agency, certificates=with_band("A"))
    for home in (marked, better):
        gate.mark(home.pk, "let", actor=agent, moment=at())
    before = (Event.objects.count(), Clearance.objects.filter(withdrawn_at=None).count())
    found = policy_preview.policy_preview(agency.pk, BAND_B, at())
    assert (found.homes, found.counted, found.marks) == (2, True, 1)
    assert (found.barred, found.cleared) == ({"let": 1, "sale": 0}, {"let": 0, "sale": 0})
    (lost,) = found.named
    assert (lost.unit, lost.purpose) == (marked, "let")
    assert lost.why == "The energy band is C; the house policy lets nothing below B."
    assert (Event.objects.count(), Clearance.objects.filter(withdrawn_at=None).count()) == before
    assert not HousePolicy.objects.exists()


def test_the_preview_of_a_laxer_policy_counts_the_homes_that_clear(agency, in_force):
    make_home(agency)
    in_force(BAND_B)
    found = policy_preview.policy_preview(agency.pk, {}, at())
    assert (found.barred, found.cleared) == ({"let": 0, "sale": 0}, {"let": 1, "sale": 0})


def test_the_preview_does_not_trust_an_answer_that_no_longer_covers_the_day(agency, agent):
    """On the day after the gas check ran out, the stored answer still says clear until the nightly work has run."""
    make_home(agency)
    found = policy_preview.policy_preview(agency.pk, BAND_B, at(date(2027, 5, 21)))
    assert found.barred == {"let": 0, "sale": 0}


def test_the_preview_is_what_happens(agency, agent, in_force):
    for letter in "ABCD":
        home = make_home(agency, certificates=with_band(letter), defects=A_C3 if letter == "A" else ())
        gate.mark(home.pk, "let", actor=agent, moment=at())
    settings = {"worst_band": "B"} | C3
    found = policy_preview.policy_preview(agency.pk, settings, at())
    in_force(settings)
    happened = Event.objects.get(verb="policy.came_in").data
    assert happened == {"withdrawn": found.marks, **found.barred} == {"withdrawn": 3, "let": 3, "sale": 1}


def test_too_many_homes_are_not_counted_and_it_says_so(agency, monkeypatch):
    make_home(agency)
    make_home(agency)
    monkeypatch.setattr(policy_preview, "MOST_COUNTED", 1)
    found = policy_preview.policy_preview(agency.pk, BAND_B, at())
    assert (found.homes, found.counted, found.named) == (2, False, ())


def test_no_more_than_fifty_marks_are_named(agency, agent, monkeypatch):
    monkeypatch.setattr(policy_preview, "MOST_NAMED", 1)
    for _ in range(3):
        gate.mark(make_home(agency).pk, "let", actor=agent, moment=at())
    found = policy_preview.policy_preview(agency.pk, BAND_B, at())
    assert (found.marks, len(found.named)) == (3, 1)


def test_the_preview_costs_a_fixed_number_of_queries(agency, django_assert_num_queries):
    make_home(agency)
    with django_assert_num_queries(15):
        policy_preview.policy_preview(agency.pk, BAND_B, at())
    for _ in range(4):
        make_home(agency)
    with django_assert_num_queries(15):
        policy_preview.policy_preview(agency.pk, BAND_B, at())
