"""The promise of the digest: whatever the days on which it runs, each thing is said at most once, and nothing due stays
unsaid at the end of a day on which it ran.

Days, papers, duties, what becomes of the messages and what people ask for are Hypothesis's; what should have been said
is reckoned here day by day, in another way than the digest's own.
"""

from collections import Counter
from copy import deepcopy
from datetime import date, timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from notifications.models import Message, Said, Telling
from notifications.words import REACHES
from portfolio.models import Due, User
from tests.factories import DAY, make_agency, make_homes, make_landlord, make_user
from tests.notifications.reminders.digest_cases import digests, run

LEADS = {"eng_eicr": (90, 60, 30, 14, 7, 1, 0), "gb_gas_check": (60, 30, 14, 7, 1, 0), "duty": (7, 3, 1, 0)}
LATE = (1, 7, 28)
BECOMES = {
    "sent": {"state": "sent", "sent_at": "2026-11-25T12:00Z", "next_try_at": None, "secrets": ""},
    "failed": {"state": "failed", "next_try_at": None},
    "held": {"state": "held", "next_try_at": None},
    "withdrawn": {"state": "withdrawn", "next_try_at": None, "secrets": "", "withdrawn_why": "Digest off."},
    "waiting": {},
}
things = st.tuples(
    st.integers(0, 1),  # which home
    st.sampled_from(["eng_eicr", "gb_gas_check", "duty"]),
    st.one_of(st.integers(-10, 75), st.integers(0, 20), st.none()),  # days after the first
    st.one_of(st.just(0), st.integers(0, 20)),  # on which day it comes on record
    st.integers(5, 60),  # and after how many days it is gone
)
runs = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from(["sent", "sent", *BECOMES]), st.booleans()),
    min_size=2, max_size=7, unique_by=lambda one: one[0],
)  # fmt: skip


@pytest.fixture(scope="module")
def town(in_common):
    """Two homes, the first a landlord's; an agent, one who wants no duties, and the landlord."""
    agency = make_agency()
    homes = make_homes(agency, {}, {})
    landlord = make_landlord(agency)
    homes[0].landlord = landlord
    homes[0].save()
    people = [make_user(agency), make_user(agency), make_user(agency, "landlord", landlord=landlord)]
    make_user(agency, "inspector")
    Telling.objects.create(user=people[1], off=["duty"])
    Due.objects.all().delete()
    return agency, homes, people


def milestone(kind: str, due: date | None, day: date) -> str:
    """Reckoned by going through the days one by one up to this one."""
    if due is None:
        return "owed" if kind == "duty" else ""
    names = {due - timedelta(days=one): str(one) for one in LEADS[kind]}
    after = {due + timedelta(days=one): f"+{one}" for one in LATE}
    names |= after if kind == "duty" else {due + timedelta(days=1): "lapsed"}
    return next((names[one] for one in sorted(names, reverse=True) if one <= day), "")


def on_record(homes, things, day: date) -> list[tuple[int, str, str]]:
    """Puts on record what is there on that day; returns what is to be said: (home, cause, milestone)."""
    kept = []
    for number, (home, kind, left, comes, stays) in enumerate(things):
        there = DAY + timedelta(days=comes) <= day < DAY + timedelta(days=comes + stays)
        if there and (left is not None or kind == "duty"):
            due = None if left is None else DAY + timedelta(days=left)
            kept.append((homes[home], kind, due, f"ref-{number}"))
    Due.objects.all().delete()
    expected = []
    for home, kind, due, of in kept:
        duty = kind == "duty"
        code, party = ("eng_eicr.copy_to_tenant", "tenant") if duty else (kind, "")
        Due.objects.create(unit=home, is_duty=duty, code=code, due=due, of=of, party=party)
        if told := milestone(kind, due, day):
            parts = [str(home.pk), code, of, *([party] if duty else []), str(due or "no day")]
            expected.append((home.pk, ":".join(["duty" if duty else "renewal", *parts]), told))
    return expected


def expected_of(user: User, expected, homes) -> set[tuple[str, str]]:
    off = user.telling.off if hasattr(user, "telling") else []
    kinds = set(REACHES[user.role]) - set(off)
    mine = {homes[0].pk} if user.role == "landlord" else {home.pk for home in homes}
    return {
        (cause, told) for home, cause, told in expected if home in mine and cause.partition(":")[0] in kinds
    }


def told_to(user: User, **which: str) -> dict[tuple[str, str], int]:
    """The message in which each thing was said, of those that were not refused or withdrawn."""
    rows = Said.objects.filter(reader=str(user.pk), **which)
    rows = rows.exclude(message__state__in=("withdrawn", "failed"))
    return {
        (cause, told): message for cause, told, message in rows.values_list("cause", "milestone", "message")
    }


@pytest.mark.django_db
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@example([(1, "eng_eicr", 75, 0, 60), (1, "eng_eicr", 8, 0, 60)], [(0, "sent", False), (1, "sent", False)])
@given(st.lists(things, min_size=2, max_size=8), runs)
def test_each_thing_is_said_once_and_nothing_due_stays_unsaid(town, things, runs):
    agency, homes, people = deepcopy(town)
    with transaction.atomic():
        arrived: dict[int, dict[tuple[str, str], int]] = {user.pk: {} for user in people}
        for number, becomes, twice in sorted(runs):
            day = DAY + timedelta(days=number)
            expected = on_record(homes, things, day)
            run(agency, day)
            if twice:
                assert run(agency, day, hour=20) == 0
            for user in people:
                due, told = expected_of(user, expected, homes), told_to(user)
                assert due <= told.keys()
                new = digests(key=f"digest:{user.pk}:{day.isoformat()}")
                assert {key for key, message in told.items() if message in [one.pk for one in new]} <= due
                assert arrived[user.pk].items() <= told.items()  # what arrived is said in no other message
            Message.objects.filter(state="waiting", key__endswith=day.isoformat()).update(**BECOMES[becomes])
            for user in people:
                arrived[user.pk] = told_to(user, message__state="sent")
        messages = Message.objects.values_list("to_user", flat=True)
        assert set(messages) <= {user.pk for user in people}
        assert max(Counter(messages).values(), default=0) <= len(runs)
        transaction.set_rollback(True)
