"""The promise of dangers: whenever it runs, each reader hears of every open danger on every day on which it ran, once.

Days, hours, dangers, and whether somebody was told at their recording are Hypothesis's; what should have been said is
reckoned here run by run.
"""

from collections import Counter
from copy import deepcopy
from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections.models import Defect
from inspections.services import tell
from notifications.models import Message, Said, Telling
from notifications.reminders.at_once import AT_ONCE
from portfolio.clock import Moment, moment_of
from portfolio.models import StoredStanding
from tests.factories import DAY
from tests.notifications.reminders.at_once_cases import World, danger_in, london, make_world, said

pytestmark = pytest.mark.django_db
HOURS = {"agent": 10, "landlord": 7}
things = st.lists(
    st.tuples(
        st.integers(0, 2),  # which home
        st.sampled_from(["imported", "recorded", "on a gas record"]),
        st.integers(0, 6),  # the day on which it comes on record
        st.integers(1, 8),  # after how many days it ends
        st.sampled_from(["made safe", "confirmed"]),
    ),
    min_size=1, max_size=5,
)  # fmt: skip
runs = st.lists(
    st.tuples(st.integers(0, 9), st.sampled_from([2, 6, 7, 9, 10, 23])), min_size=1, max_size=8
).map(sorted)


@pytest.fixture(scope="module")
def stored(in_common):
    world = make_world()
    Telling.objects.create(
        user=world.agent, hour=HOURS["agent"], quiet_days=[0, 1, 2, 3, 4, 5, 6], off=["withdrawn"]
    )
    return world


class Days:
    """What happened so far. A gas record's danger stands in a home's answer; there is one in a home at a time."""

    def __init__(self, world: World, things: list) -> None:
        self.world, self.things = world, things
        self.defects: dict[int, Defect] = {}
        self.gas: dict[int, int] = {}

    def go_on_to(self, moment: Moment) -> None:
        day = (moment.day - DAY).days
        for number, (home, how, begins, lasts, end) in enumerate(self.things):
            unit = self.world.homes[home]
            if how == "on a gas record":
                if begins <= day < begins + lasts:
                    self.gas[unit.pk] = number
                elif self.gas.get(unit.pk) == number:
                    del self.gas[unit.pk]
                continue
            if begins <= day and number not in self.defects:
                self.defects[number] = danger_in(unit)
                if how == "recorded":
                    tell.danger(self.defects[number], moment=moment)
            if begins + lasts <= day and number in self.defects:
                field = "made_safe" if end == "made safe" else "confirmed"
                Defect.objects.filter(pk=self.defects[number].pk).update(**{field: moment.day})
        StoredStanding.objects.update(danger=False)
        StoredStanding.objects.filter(unit__in=self.gas).update(danger=True, answer=ANSWER)

    def open(self) -> dict[str, int]:
        """The home of each open danger, by cause."""
        defects = Defect.objects.filter(confirmed=None, made_safe=None)
        told = {f"danger:{pk}": unit for pk, unit in defects.values_list("pk", "unit")}
        return told | {f"danger-home:{unit}:boiler:2026-11-24": unit for unit in self.gas}


BAR = {
    "says": "An appliance was found dangerous.",
    "of": "boiler",
    "since": "2026-11-24",
    "kind": "danger",
    "cure": "Have it checked again.",
}
ANSWER = {"let": {"bars": [BAR]}, "sale": {"bars": [BAR]}}


def heard(moment: Moment) -> tuple[Counter, set]:
    """How often each reader heard of each danger on that day, and all that was heard of at any time."""
    rows = [(one.reader, one.cause, one.on) for one in Said.objects.all()]
    for message in Message.objects.filter(kind="danger"):
        kind, defect, part = message.key.split(":", 2)
        rows.append((part, f"{kind}:{defect}", moment_of(message.made_at).day))
    return Counter((part, cause) for part, cause, on in rows if on == moment.day), {row[:2] for row in rows}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(things=things, runs=runs)
def test_every_open_danger_is_heard_of_each_day_and_nothing_twice(stored, things, runs):
    with transaction.atomic():
        _try(deepcopy(stored), things, runs)
        transaction.set_rollback(True)


def _try(world: World, things: list, runs: list) -> None:
    days = Days(world, things)
    readers = {
        world.readers[0]: None,
        world.readers[1]: world.homes[0].pk,
        world.readers[2]: world.homes[1].pk,
    }
    for day, hour in runs:
        moment = london(DAY + timedelta(days=day), hour)
        days.go_on_to(moment)
        before = set(Said.objects.values_list("pk", flat=True))
        messages = (
            said(world, moment)
            if Message.objects.filter(made_at=moment.at, kind="dangers").count() == 0
            else {}
        )
        new = Said.objects.exclude(pk__in=before)
        today, ever = heard(moment)
        assert max(today.values(), default=1) == 1
        assert {one.cause for one in new} <= days.open().keys()
        assert set(messages) == {one.reader for one in new} <= readers.keys()
        for part, own in readers.items():
            for cause, home in days.open().items():
                if own not in (None, home):
                    assert (part, cause) not in ever
                    continue
                assert (part, cause) in ever
                if hour >= (HOURS["agent"] if own is None else HOURS["landlord"]):
                    assert (part, cause) in today
    once = Said.objects.filter(milestone=AT_ONCE).values_list("reader", "cause")
    assert len(once) == len(set(once))
