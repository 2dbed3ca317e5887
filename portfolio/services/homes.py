"""Changing what is on record about a home: its own facts, what is in it, tenancies, marketing, acts."""

import hashlib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from portfolio import words
from portfolio.clock import Moment
from portfolio.facts import Facts, building_facts, facts_of, nameable
from portfolio.house_policy import book_of
from portfolio.law import model as law
from portfolio.law.lawbook import Lawbook
from portfolio.models import Act, Alarm, Appliance, Marketing, Room, Tenancy, Unit
from portfolio.services.dangers import taken_away
from portfolio.services.events import Happening, Verb, record
from portfolio.services.take_in import differences
from portfolio.services.take_in_rows import BUILDING_FIELDS, Taker, set_unit
from portfolio.services.write import locked_buildings, locked_units, save
from portfolio.standing import refresh

CHANGED_MEANWHILE = (
    "Nothing is changed: somebody else changed these facts while this page was open, and saving it would undo that. "
    "Open the page again and enter your changes there."
)


class DangerGoes(ValidationError):
    """The change would take away a danger that nobody confirmed as put right, and no reason is given."""

    def __init__(self, dangers: Iterable[str]) -> None:
        said = " ".join(dict.fromkeys(dangers))
        super().__init__(f"With this change a danger would count no longer: {said} Say why that is right.")


@transaction.atomic
def home_edit(
    unit_id: int,
    *,
    building: law.Building,
    unit: law.Unit,
    rooms_gone: Collection[str] = (),
    seen: str | None = None,
    why: str = "",
    actor: Any,
    moment: Moment,
) -> list[str]:
    """Make the facts of a home and its building exactly these; returns the names of what changed.

    Here `None` takes a recorded fact back to "not recorded". Rooms, appliances and alarms become exactly those
    listed; one that is gone is kept as removed. Certificates, defects, tenancies, marketing and acts are not
    touched. `rooms_gone`: refs of rooms that are gone, of those on record without a list too. `seen` is the `mark_of`
    the facts they were changed from. `why` is needed where a danger goes with the change. Raises ValidationError, of
    which one kind is DangerGoes.
    """
    building_id = Unit.objects.values_list("building_id", flat=True).get(pk=unit_id)
    locked_buildings(pk=building_id)
    neighbours = list(Unit.objects.filter(building=building_id).values_list("pk", flat=True))
    locked_units(neighbours)
    home = Unit.objects.select_related("building").get(pk=unit_id)
    held = facts_of(neighbours)
    before = held[unit_id]
    if seen is not None and seen != mark_of(before):
        raise ValidationError(CHANGED_MEANWHILE)
    _check_rooms(unit)
    building_changed = _edit_building(home, building, actor=actor, moment=moment)
    taker = Taker(agency=home.agency, actor=actor, moment=moment)
    set_unit(home, _with_other_lists(unit, before[1]), taker.landlords({unit.landlord_ref} - {None}))
    save(home, actor=actor, moment=moment)
    _remove_absent(home, before[1], unit, rooms_gone, actor=actor, moment=moment)
    taker.contents([(home, unit)])
    now = facts_of(neighbours if building_changed else [unit_id])
    changed = _changed(before, now[unit_id])
    gone = _dangers_gone(held, now, moment.day, book_of(home.agency_id))
    if gone and not why.strip():
        raise DangerGoes([says for of_home in gone.values() for says in of_home])
    record(_told(unit_id, changed, gone, why), agency_id=home.agency_id, actor=actor, moment=moment)
    refresh(now, moment=moment, actor=actor)
    return changed


def _dangers_gone(
    held: dict[int, Facts], now: dict[int, Facts], day: date, book: Lawbook
) -> dict[int, list[str]]:
    """What is dangerous no more by the facts of each home, its papers and defects being as they were."""
    after = {pk: (building, _with_other_lists(unit, held[pk][1])) for pk, (building, unit) in now.items()}
    found = {pk: taken_away(held[pk], facts, day, book) for pk, facts in after.items()}
    return {pk: gone for pk, gone in found.items() if gone}


def _told(unit_id: int, changed: list[str], gone: dict[int, list[str]], why: str) -> Iterable[Happening]:
    """The line for the home that was changed, and one for each home that lost a danger with it."""
    if changed:
        says = f"Facts of the home changed: {', '.join(changed)}."
        yield Happening(Verb.UNIT_CHANGED, f"unit:{unit_id}", says, unit_id, {"fields": changed})
    for pk, dangers in gone.items():
        says = f"By a change of facts this no longer counts: {' '.join(dangers)} Why: {why.strip()}"
        data = {"dangers": dangers, "why": why.strip()}
        yield Happening(Verb.UNIT_CHANGED, f"unit:{pk}", says, pk, data)


def _check_rooms(unit: law.Unit) -> None:
    rooms = {room.ref for room in unit.rooms or ()}
    things: list[law.Appliance | law.Alarm] = [*(unit.appliances or ()), *(unit.alarms or ())]
    for thing in things:
        if thing.room is not None and thing.room not in rooms:
            raise ValidationError(
                f"'{thing.ref}' is in the room '{thing.room}', which is not in the list of rooms: "
                "add the room, or choose another one."
            )


def mark_of(facts: Facts) -> str:
    """Stands for everything that `home_edit` sets: differs as soon as any of it was changed."""
    building, unit = facts
    edited = _with_other_lists(unit, law.Unit(unit.ref, unit.building))
    return hashlib.sha256(repr((building, edited)).encode()).hexdigest()


def _with_other_lists(unit: law.Unit, before: law.Unit) -> law.Unit:
    kept = {
        name: getattr(before, name)
        for name in ("certificates", "defects", "tenancies", "marketing", "events")
    }
    return replace(unit, **kept)


def _edit_building(home: Unit, facts: law.Building, *, actor: Any, moment: Moment) -> bool:
    building = home.building
    before = building_facts(building)
    for name in BUILDING_FIELDS:
        value = getattr(facts, name)
        setattr(building, name, list(value) if isinstance(value, tuple) else value)
    if building_facts(building) == before:
        return False
    save(building, actor=actor, moment=moment)
    says = f"The facts of {building} were changed."
    happening = Happening(Verb.BUILDING_CHANGED, f"building:{building.pk}", says)
    record([happening], agency_id=home.agency_id, actor=actor, moment=moment)
    return True


def _remove_absent(
    home: Unit, before: law.Unit, unit: law.Unit, rooms_gone: Collection[str], *, actor: Any, moment: Moment
) -> None:
    """Things no longer listed are marked removed; what stood in a removed room stands nowhere known.

    What stood on no list, as a room that a visit found, goes only if it is named: a visit may have added it meanwhile.
    """
    kinds: Sequence[tuple[Any, Any, Any]] = (
        (Alarm, before.alarms, unit.alarms),
        (Appliance, before.appliances, unit.appliances),
        (Room, before.rooms, unit.rooms),
    )
    for model, was, listed in kinds:
        there = model.objects.filter(unit=home, removed=None)
        if was is None:
            there = there.filter(ref__in=rooms_gone if model is Room and listed is not None else ())
        for row in there.exclude(ref__in=[item.ref for item in listed or ()]):
            row.removed = moment.day
            save(row, actor=actor, moment=moment)


def _changed(before: Facts, after: Facts) -> list[str]:
    names = differences(before[1], after[1])
    gone = [
        f"{name} {item.ref} (removed)"
        for name in ("rooms", "appliances", "alarms")
        for item in getattr(before[1], name) or ()
        if item.ref not in {kept.ref for kept in getattr(after[1], name) or ()}
    ]
    return names + gone + [f"building.{name}" for name in differences(before[0], after[0])]


@transaction.atomic
def tenancy_add(unit_id: int, tenancy: law.Tenancy, *, actor: Any, moment: Moment) -> Tenancy:
    """Record a tenancy. An empty ref gets the next free one. Raises ValidationError."""
    unit = _listing(unit_id, "tenancies", actor=actor, moment=moment)
    row = Tenancy(
        unit=unit,
        ref=tenancy.ref or next_ref(unit.tenancies, "tenancy"),
        granted=tenancy.granted,
        starts=tenancy.starts,
        ends=tenancy.ends,
    )
    save(row, actor=actor, moment=moment)
    says = f"A tenancy was recorded{f', starting {row.starts:%-d %B %Y}' if row.starts else ''}."
    _finish(unit, Verb.TENANCY_ADDED, f"tenancy:{row.pk}", says, actor=actor, moment=moment)
    return row


@transaction.atomic
def tenancy_end(tenancy_id: int, *, ends: Any, actor: Any, moment: Moment) -> Tenancy:
    """Record the last day of a tenancy. Raises ValidationError."""
    unit_id = Tenancy.objects.values_list("unit_id", flat=True).get(pk=tenancy_id)
    unit = _listing(unit_id, "tenancies", actor=actor, moment=moment)
    row = Tenancy.objects.get(pk=tenancy_id)
    row.ends = ends
    save(row, actor=actor, moment=moment)
    says = f"The tenancy '{row.ref}' has its last day on {ends:%-d %B %Y}."
    _finish(unit, Verb.TENANCY_CHANGED, f"tenancy:{row.pk}", says, actor=actor, moment=moment)
    return row


@transaction.atomic
def marketing_add(unit_id: int, marketing: law.Marketing, *, actor: Any, moment: Moment) -> Marketing:
    """Record that a home went on the market. Raises ValidationError."""
    unit = _listing(unit_id, "marketing", actor=actor, moment=moment)
    row = Marketing(unit=unit, purpose=marketing.purpose, starts=marketing.starts)
    save(row, actor=actor, moment=moment)
    day = f"{row.starts:%-d %B %Y}" if row.starts else "a day not recorded"
    says = f"On the market ({words.PURPOSE[row.purpose].lower()}) from {day}."
    _finish(unit, Verb.MARKETING_ADDED, f"marketing:{row.pk}", says, actor=actor, moment=moment)
    return row


def act_add(unit_id: int, act: law.Act, *, actor: Any, moment: Moment) -> Act:
    """Record an act: a copy given, a request received, a confirmation given. Raises ValidationError."""
    return acts_add(unit_id, [act], actor=actor, moment=moment)[0]


@transaction.atomic
def acts_add(
    unit_id: int, acts: Sequence[law.Act], *, how: str = "", actor: Any, moment: Moment
) -> list[Act]:
    """Record several acts of one home, all or none; `how` they were done is said in the record.

    Raises ValidationError.
    """
    unit = _listing(unit_id, "events", actor=actor, moment=moment)
    known = nameable(facts_of([unit_id])[unit_id][1]) if any(act.of is not None for act in acts) else ()
    rows = []
    for act in acts:
        if act.of is not None and act.of not in known:
            raise ValidationError(
                {"of": f"Nothing in this home has the ref '{act.of}'. Choose one from the list."}
            )
        row = Act(unit=unit, what=act.what, of=act.of, party=act.party, on=act.on, at=act.at)
        save(row, actor=actor, moment=moment)
        rows.append(row)
    told = [Happening(Verb.ACT_RECORDED, f"act:{row.pk}", _act_says(row, how), unit.pk) for row in rows]
    record(told, agency_id=unit.agency_id, actor=actor, moment=moment)
    refresh([unit.pk], moment=moment, actor=actor)
    return rows


def _act_says(act: Act, how: str) -> str:
    to = f" ({words.PARTY[act.party].lower()})" if act.party else ""
    when = f", {act.on:%-d %B %Y}{f' at {act.at}' if act.at else ''}" if act.on else ""
    return f"{words.ACT[act.what]}{to}{f' for {act.of}' if act.of else ''}{when}{f', {how}' if how else ''}."


@transaction.atomic
def nothing_done(unit_id: int, *, actor: Any, moment: Moment) -> None:
    """Record that no act the law counts was done so far; recording one later takes this back by itself."""
    (unit,) = locked_units([unit_id])
    if unit.events_listed:
        return
    unit.events_listed = True
    save(unit, actor=actor, moment=moment)
    says = "Nothing the law counts was done so far: no copy given, no request or notice received, no deposit taken."
    _finish(unit, Verb.UNIT_CHANGED, f"unit:{unit_id}", says, actor=actor, moment=moment)


def _listing(unit_id: int, name: str, *, actor: Any, moment: Moment) -> Unit:
    """The unit under its lock; from now on this list of it counts as recorded."""
    (unit,) = locked_units([unit_id])
    if not getattr(unit, f"{name}_listed"):
        setattr(unit, f"{name}_listed", True)
        save(unit, actor=actor, moment=moment)
    return unit


def _finish(unit: Unit, verb: Verb, subject: str, says: str, *, actor: Any, moment: Moment) -> None:
    record([Happening(verb, subject, says, unit.pk)], agency_id=unit.agency_id, actor=actor, moment=moment)
    refresh([unit.pk], moment=moment, actor=actor)


def next_ref(rows: Any, word: str) -> str:
    """The next free ref of its kind in a home: word-1, word-2, …"""
    return free_ref(set(rows.values_list("ref", flat=True)), word)


def free_ref(taken: Collection[str], word: str) -> str:
    """The same, where the refs taken are known."""
    number = len(taken) + 1
    while f"{word}-{number}" in taken:
        number += 1
    return f"{word}-{number}"
