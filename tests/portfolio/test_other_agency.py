"""Promise 6: whoever is of another agency changes nothing, by whichever service, and nothing is stored."""

from uuid import uuid4

import pytest
from django.apps import apps

from inspections.services.defects import defect_claim_done, defect_made_safe, defect_record, nothing_found
from inspections.services.visits import visit_begin
from portfolio import gate
from portfolio.law import model as law
from portfolio.services.certificates import certificate_add, certificate_correct
from portfolio.services.events import Happening, OtherAgency, Verb, record
from portfolio.services.homes import marketing_add, nothing_done
from portfolio.services.policies import policy_ask
from portfolio.services.take_in import take_in
from tests.factories import DAY, at, clear_portfolio, make_agency, make_homes, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.database]

C2 = law.Defect("d1", "bs7671", "C2", "Loose socket", DAY)


def everything() -> dict[str, list[str]]:
    """Every row of ours as it stands."""
    models = [
        model
        for app in ("portfolio", "inspections", "notifications")
        for model in apps.get_app_config(app).get_models()
    ]
    return {model._meta.label: sorted(map(repr, model._default_manager.values_list())) for model in models}


@pytest.fixture
def homes():
    """One that is clear, one with a defect, one of which little is recorded."""
    return make_homes(make_agency(), {}, {"defects": (C2,)}, {"defects": None, "events": None})


STEPS = {
    "a mark": lambda clear, bad, bare, who: gate.mark(clear.pk, "let", **who),
    "a refused mark": lambda clear, bad, bare, who: gate.mark(bad.pk, "let", **who),
    "a paper": lambda clear, bad, bare, who: certificate_add(
        clear.pk, law.Certificate("", "pat", "F-1", inspected=DAY), **who
    ),
    "a correction": lambda clear, bad, bare, who: certificate_correct(
        clear.certificates.get(kind="eicr").pk,
        law.Certificate("e1", "eicr", "EI-2", inspected=DAY, outcome="satisfactory"),
        why="Misread.",
        **who,
    ),
    "a defect": lambda clear, bad, bare, who: defect_record(
        clear.pk, scheme="bs7671", code="C1", title="Bare wire", found=DAY, **who
    ),
    "no defect": lambda clear, bad, bare, who: nothing_found(bare.pk, **who),
    "work done": lambda clear, bad, bare, who: defect_claim_done(bad.defects.get().pk, on=DAY, **who),
    "made safe": lambda clear, bad, bare, who: defect_made_safe(bad.defects.get().pk, on=DAY, how="Off.", **who),
    "a visit": lambda clear, bad, bare, who: visit_begin(clear.pk, key=uuid4(), **who),
    "no act": lambda clear, bad, bare, who: nothing_done(bare.pk, **who),
    "marketing": lambda clear, bad, bare, who: marketing_add(
        clear.pk, law.Marketing("let", DAY), **who
    ),
    "a home": lambda clear, bad, bare, who: take_in(clear_portfolio(ref="new"), agency=clear.agency, **who),
    "a policy": lambda clear, bad, bare, who: policy_ask(clear.agency, {"gas_margin_days": 30}, why="So.", **who),
}  # fmt: skip


@pytest.mark.parametrize("role", ["agent", "inspector"])
def test_nobody_of_another_agency_changes_anything(homes, role):
    stranger = make_user(make_agency(), role)
    before = everything()
    for name, step in STEPS.items():
        with pytest.raises(OtherAgency, match="another agency"):
            step(*homes, {"actor": stranger, "moment": at()})
        assert everything() == before, name


def test_our_own_people_do_all_of_it(homes):
    for step in STEPS.values():
        try:
            step(*homes, {"actor": make_user(homes[0].agency), "moment": at()})
        except gate.Barred:
            assert step is STEPS["a refused mark"]


def test_a_line_is_not_written_to_the_chain_of_another_agency():
    mine, theirs = make_agency(), make_agency()
    said = [Happening(Verb.UNIT_CHANGED, "unit:1", "Changed.")]
    with pytest.raises(OtherAgency):
        record(said, agency_id=theirs.pk, actor=make_user(mine), moment=at())
    assert record(said, agency_id=theirs.pk, actor=None, moment=at())
