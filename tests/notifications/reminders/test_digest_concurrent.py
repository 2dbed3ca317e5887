"""Several workers at once, on SQLite and PostgreSQL: each digest is written by one of them."""

from datetime import timedelta

import pytest

from notifications.models import Message, Said, Telling
from portfolio.models import Due
from tests.factories import DAY, make_agency, make_homes, make_user
from tests.notifications.reminders.digest_cases import run
from tests.portfolio.test_gate_concurrent import together


@pytest.mark.database
@pytest.mark.django_db(transaction=True)
def test_workers_at_once_write_each_digest_once():
    agency = make_agency()
    (home,) = make_homes(agency, {})
    people = [make_user(agency) for _ in range(3)]
    Due.objects.all().delete()
    for left in range(5):
        Due.objects.create(
            unit=home, is_duty=False, code="eng_eicr", due=DAY + timedelta(days=left), of=f"e{left}"
        )
    written: list[int] = []
    together(*[lambda: written.append(run(agency))] * 4)
    assert sum(written) == len(people) == Message.objects.count()
    assert Said.objects.count() == 5 * len(people)
    assert set(Telling.objects.values_list("worked_out_on", flat=True)) == {DAY}
