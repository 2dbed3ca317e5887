"""The page of one home by the law of its nation: what applies, what is due, what is coming."""

from dataclasses import replace
from datetime import date

import pytest
from django.urls import reverse

from portfolio import words
from portfolio.law import model as law
from portfolio.law.loader import load
from portfolio.selectors.home_asked import TOLD, gate_words
from portfolio.services.take_in import take_in
from tests.factories import BUILDING, CLEAR_FLAT, DAY, at, make_home, put_in_force, without

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

ORDER = ["not_met", "unknown", "met"]
C2 = law.Defect("d1", "bs7671", "C2", "Cracked socket", date(2026, 11, 20))


def asked(as_agent, home, **how):
    return as_agent.get(reverse("home", args=[home.pk]), how)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def part(response, name: str) -> str:
    return text(response).partition(f'<section id="{name}"')[2].partition("</section> <section id=")[0]


@pytest.mark.parametrize("nation", words.NATION)
def test_what_is_not_met_comes_first_and_what_does_not_apply_is_folded(as_agent, agent, nation):
    home = make_home(agent.agency, certificates=without(CLEAR_FLAT, "e1").certificates, defects=(C2,))
    other = law.Portfolio((replace(BUILDING, nation=nation),), ())
    take_in(other, agency=agent.agency, actor=agent, moment=at())
    response = asked(as_agent, home)
    page = response.context["page"]
    states = [one.requirement.state.value for one in page.asked]
    assert states == sorted(states, key=ORDER.index)
    met = [one.requirement.due or date.max for one in page.asked if one.requirement.state == "met"]
    assert met == sorted(met)
    assert len(page.asked) + len(page.not_asked) == len(page.standing.requirements)
    assert f"{len(page.not_asked)} more do not apply" in part(response, "asked")


def test_each_requirement_leads_to_its_place_on_the_law_page(as_agent, agent):
    home = make_home(agent.agency)
    law_page = as_agent.get(reverse("law_nation", args=["england"])).content.decode()
    for one in asked(as_agent, home).context["page"].asked:
        link = f'href="{reverse("law_nation", args=["england"])}#{one.requirement.id}"'
        assert link in part(asked(as_agent, home), "asked")
        assert f'id="{one.requirement.id}"' in law_page


@pytest.mark.parametrize(
    ("let", "sale", "said"),
    [
        ("block", "none", "stops a let"),
        ("block", "block", "stops a let and a sale"),
        ("block", "warn", "stops a let; a warning on a sale"),
        ("warn", "none", "a warning on a let"),
        ("none", "block", "stops a sale"),
        ("none", "warn", "a warning on a sale"),
        ("info", "none", TOLD),
        ("info", "info", TOLD),
    ],
)
def test_a_gate_is_told_in_words(let, sale, said):
    one = law.Requirement("x", "X", law.State.MET, None, None, "SI", law.Basis.TEXT, let=let, sale=sale)
    assert gate_words(one, load()) == said


def test_what_is_only_told_says_why_and_what_bars_is_not_said_twice(as_agent, agent):
    home = make_home(agent.agency, certificates=without(CLEAR_FLAT, "e1").certificates)
    page = asked(as_agent, home).context["page"]
    told = {one.requirement.id: one for one in page.asked if one.does == TOLD}
    assert told["gb_legionella"].remarks
    assert not any(one.remarks for one in page.asked if one.does != TOLD)
    assert told["gb_legionella"].remarks[0].says in part(asked(as_agent, home), "asked")


def test_a_duty_of_hours_says_until_which_hour(as_agent, agent):
    mould = law.Defect("m1", "damp_mould", "emergency", "Black mould", date(2026, 11, 25))
    home = make_home(
        agent.agency,
        landlord="registered_provider",
        defects=(mould,),
        tenancies=(law.Tenancy("t1", date(2026, 1, 1), date(2026, 1, 1)),),
        events=(law.Act("aware", "m1", "tenant", date(2026, 11, 25), "09:30"),),
    )
    duties = part(asked(as_agent, home), "duties")
    assert "by 09:30" in duties
    assert '<time datetime="2026-11-26">' in duties


def test_duties_done_are_folded_below_those_to_do(as_agent, agent):
    running = law.Tenancy("t1", date(2026, 3, 1), date(2026, 3, 10))
    home = make_home(agent.agency, tenancies=(running,))
    page = asked(as_agent, home).context["page"]
    assert page.to_do
    assert page.done
    days = [row.duty.due or date.max for row in page.to_do]
    assert days == sorted(days)
    duties = part(asked(as_agent, home), "duties")
    assert duties.index(page.to_do[-1].duty.title) < duties.index(f"{len(page.done)} done</summary>")


def test_the_coming_months_say_what_turns_and_when_it_may_be_let(as_agent, agent):
    home = make_home(agent.agency)
    coming = asked(as_agent, home).context["page"].coming
    assert coming.last == date(2028, 11, 25)
    said = part(asked(as_agent, home), "coming")
    assert 'from <time datetime="2026-11-25">25 Nov 2026</time> until <time datetime="2027-05-20">' in said
    assert "on every day" in said
    assert "May 2027" in said
    assert "no longer met; stops a let" in said
    assert all(month.turns or month.duties for month in coming.months)


@pytest.mark.parametrize(
    ("day", "then"),
    [("2027-05-20", "An appliance's gas check is out of date."), ("2027-05-21", "")],
)
def test_a_clear_answer_that_ends_says_what_ends_it(as_agent, agent, day, then):
    response = asked(as_agent, make_home(agent.agency), on=day)
    let, sale = response.context["page"].verdicts
    assert sale.then == ""
    assert let.then == then
    assert ("Then: " in text(response)) is bool(let.then)


def test_a_month_tells_its_lines_day_by_day_and_each_turn_what_is_new(as_agent, agent):
    put_in_force(agent.agency, {"warnings_that_bar": ["eng_awaab_social"]}, actor=agent)
    damp = law.Defect("m", "damp_mould", "significant", "Mould", date(2026, 11, 13))
    told = [("aware", "m", "tenant", date(2026, 11, 13)), ("investigated", "m", None, date(2026, 11, 23))]
    home = make_home(
        agent.agency, landlord="registered_provider", defects=(damp,), events=tuple(law.Act(*one) for one in told),
        tenancies=(law.Tenancy("t", date(2026, 1, 1), date(2026, 1, 2)),),
    )  # fmt: skip
    months = asked(as_agent, home).context["page"].coming.months
    days = [[turn.day if turn else row.duty.due for turn, row in month.lines] for month in months]
    assert days == [sorted(month) for month in days]
    whys = [turn.why for month in months for turn in month.turns if turn.title.startswith("Days for damp")]
    assert whys == [
        "Late: give the tenant a written summary of what was found.",
        "Late: finish the safety work that the damp or mould needs.",
        "Late: begin the work that keeps it from coming back.",
    ]


def test_the_house_draws_no_second_line_for_a_paper(as_agent, agent):
    put_in_force(agent.agency, {"gas_margin_days": 30}, actor=agent)
    page = asked(as_agent, make_home(agent.agency)).context["page"]
    margin = next(one.requirement for one in page.asked if one.requirement.id == "house_margin")
    assert margin.certificate == "g1"
    assert [span.requirement.id for span in page.line.spans if span.requirement.certificate == "g1"] == [
        "gb_gas_check"
    ]


@pytest.mark.parametrize("day", ["2027-05-20", "2027-05-21"])
def test_the_spells_agree_with_the_answer_on_the_day(as_agent, agent, day):
    page = asked(as_agent, make_home(agent.agency), on=day).context["page"]
    spells = dict(page.coming.spells)["let"]
    assert bool(spells and spells[0].first == date.fromisoformat(day)) is page.standing.let.clear


def test_a_home_whose_nation_nobody_recorded_has_a_page_too(as_agent, agent):
    building = replace(BUILDING, ref="nowhere", nation=None)
    unit = replace(CLEAR_FLAT, ref="somewhere", building="nowhere")
    take_in(law.Portfolio((building,), (unit,)), agency=agent.agency, actor=agent, moment=at())
    home = agent.agency.units.get(ref="somewhere")
    response = asked(as_agent, home, on=str(DAY))
    assert "Not recorded: which nation the building is in" in text(response)
    assert "on no day" in part(response, "coming")
