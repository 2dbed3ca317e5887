"""Workers at once, on SQLite and PostgreSQL: each reader is told of each danger and each mark once."""

from collections import Counter
from functools import partial

import pytest

from inspections.services.defects import defect_record
from notifications.models import Message, Said
from notifications.reminders import at_once
from portfolio import gate
from tests.factories import DAY, at
from tests.notifications.reminders.at_once_cases import danger_in, london, make_world
from tests.portfolio.test_gate_concurrent import together

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


def test_several_runs_and_somebody_who_records_at_the_same_time():
    world = make_world()
    gate.mark(world.homes[0].pk, "let", actor=world.agent, moment=at())
    for home in world.homes:
        danger_in(home)

    def run(minute: int) -> None:
        at_once.say(world.agency.pk, london(hour=12, minute=minute))

    def record(title: str) -> None:
        defect_record(
            world.homes[0].pk,
            scheme="bs7671",
            code="C1",
            title=title,
            found=DAY,
            actor=world.agent,
            moment=at(),
        )

    together(*[partial(run, 0)] * 2, partial(run, 1), partial(run, 2), *map(partial(partial, record), "ab"))
    run(3)
    told = Counter(Said.objects.values_list("reader", "cause"))
    for key in Message.objects.filter(kind="danger").values_list("key", flat=True):
        kind, defect, part = key.split(":", 2)
        told[part, f"{kind}:{defect}"] += 1
    assert set(told.values()) == {1}
    assert Counter(part for part, cause in told if cause.startswith("danger:")) == {
        world.readers[0]: 5, world.readers[1]: 3, world.readers[2]: 1,
    }  # fmt: skip
    assert {part for part, cause in told if cause.startswith("withdrawn:")} == set(world.readers[:2])
    assert not Message.objects.filter(said=None).exclude(kind="danger").exists()
