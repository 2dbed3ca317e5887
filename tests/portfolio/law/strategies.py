"""Homes of every sort for Hypothesis: sound ones, faulty ones, and ones nobody finished recording."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any, TypeVar

from hypothesis import strategies as st

from portfolio.law.model import (
    ACTS,
    ALARMS,
    APPLIANCES,
    CERTIFICATES,
    CODES,
    DWELLINGS,
    EXEMPTIONS,
    LANDLORDS,
    LETTINGS,
    NATIONS,
    OUTCOMES,
    PARTIES,
    POWERS,
    RATINGS,
    ROOM_USES,
    SCHEMES,
    Act,
    Alarm,
    Appliance,
    ApplianceCheck,
    Building,
    Certificate,
    Defect,
    Hmo,
    Letting,
    Marketing,
    Occupancy,
    Room,
    Tenancy,
    Unit,
)

T = TypeVar("T")
FIRST, LAST = date(2015, 1, 1), date(2032, 12, 31)
ROOMS = ("r0", "r1", "r2")
BURNERS = ("a0", "a1")
PAPERS = (
    *CERTIFICATES, *("eicr", "gas_safety_record", "epc") * 3, *("hmo_licence", "landlord_registration", "pat") * 2,
)  # fmt: skip
"""Every kind of paper, those on which most hangs more often."""
NAMED = (None, None, "c0", "c1", "c2", "d0", "d1", "t0", "l0", "e", "g", "s0")
"""What an act may be of; some of these are there in every home."""

near = st.dates(date(2025, 6, 1), date(2027, 12, 31))
days = st.one_of(near, near, st.dates(FIRST, LAST), st.just(date(2024, 2, 29)))
asked = st.one_of(near, near, near, st.dates(FIRST, LAST))


def known(what: st.SearchStrategy[T], often: int = 6) -> st.SearchStrategy[T | None]:
    """Mostly recorded, now and then not."""
    return st.integers(0, often).flatmap(lambda roll: st.none() if roll == 0 else what)


def some(what: st.SearchStrategy[T], most: int) -> st.SearchStrategy[tuple[T, ...] | None]:
    return known(st.lists(what, max_size=most).map(tuple), 20)


def numbered(
    prefix: str, most: int, what: st.SearchStrategy[Any]
) -> st.SearchStrategy[tuple[Any, ...] | None]:
    """A list whose refs differ, or None."""

    def name(found: tuple[Any, ...] | None) -> tuple[Any, ...] | None:
        return found and tuple(replace(one, ref=f"{prefix}{place}") for place, one in enumerate(found))

    return some(what, most).map(name)


buildings = st.builds(
    Building,
    ref=st.just("B"),
    nation=known(st.sampled_from(NATIONS), 16),
    year_built=known(st.sampled_from((1890, 1944, 1945, 1974, 1999, 2000, 2019))),
    storeys=known(st.integers(1, 8)),
    top_storey_height_m=known(st.sampled_from((3, 11, 11.1, 17.9, 18, 30))),
    self_contained_units=known(st.integers(1, 4)),
    purpose_built=known(st.booleans()),
    common_parts=known(st.booleans()),
    passenger_lift=known(st.booleans()),
    lift_used_at_work=known(st.booleans()),
    simultaneous_evacuation=known(st.booleans()),
)
certificates = st.builds(
    Certificate,
    ref=st.just(""),
    kind=st.sampled_from(PAPERS),
    inspected=known(days),
    issued=known(days),
    registered=known(days),
    until=st.one_of(st.none(), days),
    outcome=known(st.sampled_from((*OUTCOMES, "satisfactory"))),
    rating=known(st.sampled_from(RATINGS)),
    next_within_years=st.one_of(st.none(), st.sampled_from((0.5, 1, 3, 5, 10))),
    remedy_within_days=st.one_of(st.none(), st.integers(1, 40)),
    appliances=some(
        st.builds(
            ApplianceCheck,
            appliance=st.sampled_from(BURNERS),
            result=known(st.sampled_from(("safe", "safe", "id", "ar", "not_tested"))),
        ),
        2,
    ),
    exemption=known(st.sampled_from(EXEMPTIONS)),
    applied=st.one_of(st.none(), days),
    withdrawn=st.one_of(st.none(), st.none(), days),
)
sound_certificates = st.builds(
    Certificate,
    ref=st.just(""),
    kind=st.sampled_from(PAPERS),
    inspected=days,
    issued=days,
    registered=days,
    until=st.one_of(st.none(), days),
    outcome=st.sampled_from(("satisfactory", "satisfactory", "satisfactory", "unsatisfactory")),
    rating=st.sampled_from(RATINGS),
    next_within_years=st.sampled_from((None, 0.5, 3)),
    appliances=st.just((ApplianceCheck("boiler", "safe"), ApplianceCheck("a0", "safe"))),
    exemption=st.sampled_from(EXEMPTIONS),
    applied=st.one_of(st.none(), days),
    withdrawn=st.one_of(st.none(), days),
)
codes = st.sampled_from([(scheme, code) for scheme in SCHEMES for code in CODES[scheme]])
defects = st.builds(
    lambda coded, **rest: Defect("", *coded, **rest),
    codes,
    found=known(days),
    certificate=st.sampled_from((None, "c0", "c1", "c2", "e")),
    made_safe=known(days, 1),
    completed=known(days, 1),
    confirmed=known(days, 2),
)
alarms = st.builds(
    Alarm,
    ref=st.just(""),
    kind=known(st.sampled_from((*ALARMS, "smoke"))),
    room=known(st.sampled_from(ROOMS)),
    power=known(st.sampled_from(POWERS)),
    interlinked=known(st.sampled_from((True, True, False))),
    working=known(st.sampled_from((True, True, False))),
    replace_by=known(days, 1),
    tested=some(days, 2),
)
rooms = st.builds(
    Room, ref=st.just(""), level=known(st.integers(0, 1), 12), use=known(st.sampled_from(ROOM_USES), 12)
)
appliances = st.builds(
    Appliance,
    ref=st.just(""),
    kind=known(st.sampled_from(APPLIANCES), 12),
    room=known(st.sampled_from(ROOMS), 12),
    owner=known(st.sampled_from(("landlord", "landlord", "tenant"))),
    installed=known(days, 2),
)
acts = st.builds(
    Act,
    what=st.sampled_from(ACTS),
    of=st.sampled_from(NAMED),
    party=st.sampled_from((*PARTIES, None)),
    on=known(days),
    at=st.one_of(st.none(), st.times().map(lambda time: f"{time:%H:%M}")),
)
tenancies = st.builds(
    Tenancy, ref=st.just(""), granted=known(days, 1), starts=known(days), ends=known(days, 1)
)
units = st.builds(
    Unit,
    ref=st.just("U"),
    building=st.just("B"),
    dwelling=known(st.sampled_from(DWELLINGS)),
    landlord=known(st.sampled_from((*LANDLORDS, "private", "private"))),
    letting=st.builds(
        Letting,
        kind=known(st.sampled_from((*LETTINGS, "tenancy", "tenancy", "tenancy"))),
        term_years=st.one_of(st.none(), st.sampled_from((1, 6.5, 7, 99))),
    ),
    occupancy=st.builds(
        Occupancy,
        persons=known(st.integers(1, 6)),
        households=known(st.integers(1, 3)),
        shares_amenities=known(st.booleans()),
    ),
    hmo=st.builds(
        Hmo,
        additional_licensing_area=known(st.sampled_from((False, False, True))),
        selective_licensing_area=known(st.sampled_from((False, False, True))),
    ),
    acquired_with_tenant=known(days, 1),
    landlord_electrical_appliances=known(st.booleans()),
    main_board_rcd_30ma=known(st.sampled_from((True, True, False))),
    tenancies=numbered("t", 2, tenancies),
    marketing=some(st.builds(Marketing, purpose=st.sampled_from(("let", "sale")), starts=known(days)), 2),
    rooms=numbered("r", 3, rooms),
    appliances=numbered("a", 2, appliances),
    alarms=numbered("l", 5, alarms),
    certificates=numbered("c", 6, certificates),
    defects=numbered("d", 3, defects),
    events=some(acts, 5),
)
DAY = timedelta(days=1)
