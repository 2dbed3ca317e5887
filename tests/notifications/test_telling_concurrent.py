"""Several at once, on SQLite and PostgreSQL: what is chosen, set and tried again is kept and recorded once."""

from contextlib import suppress

import pytest

from notifications import leads, services, telling
from notifications.models import LeadTime, RefusedAddress, Telling
from portfolio.models import Event
from portfolio.services.events import verify
from tests.factories import at, make_agency, make_user
from tests.notifications.drafts import put
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


@pytest.fixture
def agent():
    return make_user(make_agency())


def test_a_digest_ended_several_times_at_once_is_ended_once(agent):
    together(*[lambda: telling.digest_end(agent.pk, moment=at()) and None] * 4)
    assert not Telling.objects.get().digest
    assert Event.objects.filter(verb="telling.changed").count() == 1
    assert verify(agent.agency) is None


def test_a_choice_and_the_end_of_a_digest_at_once_are_both_on_record(agent):
    def choose() -> None:
        telling.telling_set(hour=9, quiet_days=[6], off=["duty"], digest=True, actor=agent, moment=at())

    together(choose, lambda: telling.digest_end(agent.pk, moment=at()) and None)
    kept = Telling.objects.get()
    assert (kept.hour, kept.quiet_days, kept.off) == (9, [6], ["duty"])
    last = Event.objects.order_by("-seq")[0]
    assert kept.digest == last.data["digest"]
    assert verify(agent.agency) is None


def test_lead_times_set_by_two_agents_at_once_are_all_kept(agent):
    other = make_user(agent.agency)
    together(
        lambda: leads.lead_times_set({"eicr": (40,), "epc": (1,)}, actor=agent, moment=at()) and None,
        lambda: leads.lead_times_set({"duty": (5,), "epc": (2,)}, actor=other, moment=at()) and None,
    )
    kept = leads.own_of(agent.agency_id)
    assert (kept["eicr"], kept["duty"]) == ((40,), (5,))
    last = Event.objects.filter(data__kind="epc").order_by("-seq")[0]
    assert list(kept["epc"]) == last.data["now"]
    assert LeadTime.objects.count() == 3
    assert verify(agent.agency) is None


def test_an_address_is_tried_again_once(agent):
    refused = RefusedAddress.objects.create(
        agency=agent.agency, email="x@example.org", since=at().at, said="550", message=put(agent.agency)
    )

    def again() -> None:
        with suppress(services.NotPossible):
            services.address_try_again(refused.pk, actor=agent, moment=at())

    together(*[again] * 3)
    assert Event.objects.filter(verb="address.tried_again").count() == 1
