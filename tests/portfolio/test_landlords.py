"""How a landlord is reached: recorded by agents, with who and when."""

import pytest

from portfolio.models import Event, Landlord
from tests.factories import make_agency, make_home, make_landlord, make_user, signed_in

pytestmark = pytest.mark.django_db


def test_an_agent_corrects_the_address_and_it_is_on_record():
    agency = make_agency()
    agent, landlord = make_user(agency), make_landlord(agency)
    client, address = signed_in(agent), f"/landlords/{landlord.pk}/change/"
    for told, is_now in (
        ({"email": "ann@example.org", "phone": "01632 960123"}, ("ann@example.org", "01632 960123")),
        ({"email": "not-an-address", "phone": ""}, ("ann@example.org", "01632 960123")),
        ({"email": "", "phone": ""}, ("", "")),
    ):
        answer = client.post(address, told)
        assert answer.status_code == (400 if told["email"] == "not-an-address" else 302)
        again = Landlord.objects.get(pk=landlord.pk)
        assert (again.email, again.phone) == is_now
    lines = Event.objects.filter(agency=agency, verb="landlord.changed").order_by("seq")
    assert [(line.actor, line.subject) for line in lines] == [(agent, f"landlord:{landlord.pk}")] * 2
    assert "mail goes to ann@example.org (before: none)" in lines[0].says
    assert "mail goes to no address (before: ann@example.org)" in lines[1].says
    assert landlord.history.count() == 3  # with its making


def test_the_same_again_is_not_told():
    agency = make_agency()
    landlord = make_landlord(agency)
    signed_in(make_user(agency)).post(f"/landlords/{landlord.pk}/change/", {"email": "", "phone": ""})
    assert not Event.objects.filter(agency=agency, verb="landlord.changed").exists()


def test_agents_find_the_page_from_a_home_and_others_do_not():
    agency = make_agency()
    home = make_home(agency)
    link = f"/landlords/{home.landlord_id}/change/"
    assert link in signed_in(make_user(agency)).get(f"/homes/{home.pk}/").content.decode()
    inspector = signed_in(make_user(agency, "inspector"))
    assert link not in inspector.get(f"/homes/{home.pk}/").content.decode()
    assert inspector.get(link).status_code == 404
