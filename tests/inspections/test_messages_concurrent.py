"""A message about a home is held back while the home's record is written: nobody waits for the other for ever."""

from functools import partial

import pytest

from inspections.services.defects import defect_record
from notifications.models import Message
from notifications.services import message_hold
from portfolio.services.events import verify
from tests.factories import DAY, at, make_agency, make_home, make_user
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]
ROUNDS = 8


def test_a_message_is_held_while_its_home_is_written_about():
    agency = make_agency()
    agent, home = make_user(agency), make_home(agency)

    def record() -> None:
        defect_record(
            home.pk, scheme="bs7671", code="C1", title="Bare wire", found=DAY, actor=agent, moment=at()
        )

    for _ in range(ROUNDS):
        record()
        waiting = Message.objects.filter(unit=home, state="waiting").latest("pk")
        together(record, partial(message_hold, waiting.pk, actor=agent, moment=at()), record)
    assert Message.objects.filter(state="held").count() == ROUNDS
    assert verify(agency) is None
