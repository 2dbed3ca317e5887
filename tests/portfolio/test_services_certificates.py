"""Adding a certificate: the preview and what is saved agree, and nothing is saved by looking."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from portfolio import gate
from portfolio.law import model as law
from portfolio.models import Certificate, Event
from portfolio.services.certificates import certificate_add, certificate_preview
from tests.factories import CLEAR_FLAT, DAY, at, make_agency, make_home, make_user, without

pytestmark = [pytest.mark.django_db, pytest.mark.database]


@pytest.fixture
def agency():
    return make_agency()


@pytest.fixture
def agent(agency):
    return make_user(agency)


def gas(day: date) -> law.Certificate:
    checks = (law.ApplianceCheck("boiler", "safe"),)
    return law.Certificate("", "gas_safety_record", "G-2", inspected=day, appliances=checks)


@pytest.mark.parametrize(
    ("checked", "due", "kept"),
    [
        (date(2027, 3, 20), date(2028, 3, 20), False),  # a day before the two months ending with 20 May
        (date(2027, 3, 21), date(2028, 5, 20), True),
        (date(2027, 5, 20), date(2028, 5, 20), True),
        (date(2027, 5, 21), date(2028, 5, 21), False),  # a day late: a new cycle
    ],
)
def test_the_preview_shows_the_next_day_and_whether_the_anniversary_is_kept(agency, checked, due, kept):
    home = make_home(agency)
    preview = certificate_preview(home.pk, gas(checked), day=checked)
    (change,) = [change for change in preview.changes if change.after.id == "gb_gas_check"]
    assert change.after.due == due
    assert change.after.parts[0].anniversary_kept is kept


def test_what_the_preview_promises_is_what_is_saved(agency, agent):
    home = make_home(agency, certificates=without(CLEAR_FLAT, "g0", "g1").certificates)
    paper = gas(date(2026, 11, 20))
    preview = certificate_preview(home.pk, paper, day=DAY)
    certificate_add(home.pk, paper, actor=agent, moment=at())
    home.refresh_from_db()
    assert (home.standing.let_clear, home.standing.let_until) == (preview.let.clear, preview.let.until)
    assert {bar.requirement for bar in preview.lifted} == {"gb_gas_check"}


def test_looking_stores_nothing(agency):
    home = make_home(agency)
    before = (Certificate.objects.count(), Event.objects.count())
    certificate_preview(home.pk, gas(DAY), day=DAY)
    assert (Certificate.objects.count(), Event.objects.count()) == before


def test_the_bar_lifts_and_the_home_can_be_marked(agency, agent):
    home = make_home(agency, certificates=without(CLEAR_FLAT, "p1").certificates)
    with pytest.raises(gate.Barred):
        gate.mark(home.pk, "let", actor=agent, moment=at())
    paper = law.Certificate("", "epc", registered=date(2026, 11, 1), rating="C")
    certificate_add(home.pk, paper, actor=agent, moment=at())
    assert gate.mark(home.pk, "let", actor=agent, moment=at()).withdrawn_at is None


def test_a_worse_epc_raises_a_bar_and_withdraws_the_mark(agency, agent):
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    worse = law.Certificate("", "epc", registered=date(2026, 11, 1), rating="F")
    preview = certificate_preview(home.pk, worse, day=DAY)
    assert {bar.requirement for bar in preview.raised} == {"ew_mees"}
    certificate_add(home.pk, worse, actor=agent, moment=at())
    assert home.clearances.get().withdrawn_at is not None


def test_the_same_paper_again_is_pointed_out(agency):
    home = make_home(agency)
    preview = certificate_preview(home.pk, gas(date(2026, 4, 2)), day=DAY)
    assert [paper.ref for paper in preview.same_day] == ["g1"]


def test_an_impossible_certificate_is_refused_and_nothing_stored(agency, agent):
    home = make_home(agency)
    events = Event.objects.count()
    backwards = law.Certificate("", "hmo_licence", issued=date(2026, 2, 1), until=date(2026, 1, 31))
    with pytest.raises(ValidationError):
        certificate_add(home.pk, backwards, actor=agent, moment=at())
    assert Certificate.objects.filter(kind="hmo_licence").count() == 0
    assert Event.objects.count() == events


def test_the_event_names_the_paper_and_who_added_it(agency, agent):
    home = make_home(agency)
    certificate_add(home.pk, gas(DAY), actor=agent, moment=at())
    event = home.events.get(verb="certificate.added")
    assert event.actor == agent
    assert "G-2" in event.says


def correct(paper: Certificate, agent, why="A slip of the pen.", **changes):
    from dataclasses import replace

    from portfolio.facts import certificate_facts
    from portfolio.services.certificates import certificate_correct

    facts = replace(certificate_facts(paper, []), **changes)
    return certificate_correct(paper.pk, facts, why=why, actor=agent, moment=at())


def test_a_day_nobody_recorded_is_added_and_the_bar_lifts(agency, agent):
    undated = law.Certificate("e1", "eicr", until=date(2028, 3, 14), outcome="satisfactory")
    home = make_home(agency, certificates=(undated, *CLEAR_FLAT.certificates[1:]))
    assert not home.standing.let_clear
    assert correct(home.certificates.get(ref="e1"), agent, inspected=date(2023, 3, 14)) == ["inspected"]
    home.refresh_from_db()
    assert home.standing.let_clear


def test_a_correction_keeps_the_earlier_state_and_the_reason(agency, agent):
    paper = make_home(agency).certificates.get(ref="e1")
    correct(paper, agent, why="The day was read wrongly.", inspected=date(2023, 3, 15))
    assert [old.inspected for old in paper.history.order_by("history_id")] == [
        date(2023, 3, 14),
        date(2023, 3, 15),
    ]
    assert "The day was read wrongly." in paper.unit.events.get(verb="certificate.corrected").says


def test_a_paper_that_counts_no_longer_withdraws_the_mark(agency, agent):
    home = make_home(agency)
    gate.mark(home.pk, "let", actor=agent, moment=at())
    correct(home.certificates.get(ref="e1"), agent, why="Forged.", withdrawn=DAY)
    assert home.clearances.get().withdrawn_at is not None


def test_a_correction_of_nothing_leaves_no_event(agency, agent):
    paper = make_home(agency).certificates.get(ref="e1")
    events = Event.objects.count()
    assert correct(paper, agent) == []
    assert Event.objects.count() == events


@pytest.mark.parametrize(("result", "clear"), [("ar", False), ("safe", True)])
def test_what_a_gas_record_says_of_a_boiler_can_be_corrected(agency, agent, result, clear):
    home = make_home(agency)
    paper = home.certificates.get(ref="g1")
    correct(paper, agent, appliances=(law.ApplianceCheck("boiler", result),))
    home.refresh_from_db()
    assert home.standing.let_clear is clear


def test_a_check_taken_off_a_record_is_kept_in_history(agency, agent):
    paper = make_home(agency).certificates.get(ref="g1")
    assert correct(paper, agent, appliances=()) == ["boiler"]
    assert paper.checks.count() == 0
    assert paper.checks.model.history.filter(history_type="-", history_user=agent).count() == 1


def test_an_impossible_correction_is_refused(agency, agent):
    paper = make_home(agency).certificates.get(ref="p1")
    with pytest.raises(ValidationError):
        correct(paper, agent, until=date(2020, 9, 9))
    paper.refresh_from_db()
    assert paper.until == date(2030, 9, 9)


def test_nothing_is_corrected_without_a_reason(agency, agent):
    paper = make_home(agency).certificates.get(ref="e1")
    with pytest.raises(ValidationError, match="why"):
        correct(paper, agent, why=" ", outcome="unsatisfactory")
    assert Certificate.objects.get(pk=paper.pk).outcome == "satisfactory"
