"""An agency's house policy: asked for, looked at beforehand, then put into force over all its homes at once.

Rows only follow each other: nothing of one is ever changed but the moment it came into force, and that once. The
newest row is the one that counts; one that was still waiting when the next was asked for never comes into force.
"""

from collections.abc import Iterator
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef

from portfolio import standing
from portfolio.clock import Moment, moment_of
from portfolio.law.loader import load
from portfolio.law.policy import Policy
from portfolio.models import Agency, Clearance, HousePolicy, StoredStanding, Unit
from portfolio.policy_words import differences
from portfolio.services.events import Happening, Verb, record
from portfolio.services.write import locked_units

ATTEMPTS = 5
CHANGED_MEANWHILE = (
    "Somebody has asked for another house policy since you opened this page. Look at it on the page of the policy, "
    "then start from there."
)


class HomesJoined(Exception):
    """Homes were taken in while those known were being locked."""


@transaction.atomic
def policy_ask(
    agency: Agency, settings: dict[str, Any], *, why: str, seen: int | None = None, actor: Any, moment: Moment
) -> HousePolicy:
    """Keep what the agency wants to ask from now on; it is not in force before `policy_apply`.

    `seen`: the newest row the person knew of (0: none), if it matters. Raises ValidationError when a value is wrong,
    nothing differs, no reason is given, or a newer row has come meanwhile.
    """
    Agency.objects.select_for_update().get(pk=agency.pk)
    newest = newest_of(agency.pk)
    if seen is not None and seen != (newest.pk if newest else 0):
        raise ValidationError(CHANGED_MEANWHILE)
    before = newest.settings if newest else {}
    book = load()
    try:
        after = Policy.of(settings, book).as_dict()
    except ValueError as wrong:
        raise ValidationError(str(wrong)) from wrong
    if after == before:
        raise ValidationError("This is what the house policy asks already. Change something, or leave it.")
    row = HousePolicy(agency=agency, settings=after, why=why.strip(), asked_at=moment.at, asked_by=actor)
    row.full_clean(
        exclude=["settings", "asked_by", "in_force_at"]
    )  # settings may be empty: a policy that asks nothing
    row.save()
    _record_asked(row, newest, differences(before, after, book, moment.day), moment)
    return row


def newest_of(agency_id: int) -> HousePolicy | None:
    """The last policy asked for, in force or not yet."""
    return HousePolicy.objects.filter(agency=agency_id).order_by("-pk").first()


def waiting() -> list[int]:
    """Ids of the policies that were asked for, are not in force and have none after them, of every agency."""
    later = HousePolicy.objects.filter(agency=OuterRef("agency"), pk__gt=OuterRef("pk"))
    rows = HousePolicy.objects.filter(~Exists(later), in_force_at__isnull=True)
    return list(rows.order_by("pk").values_list("pk", flat=True))


def policy_apply(pk: int, *, moment: Moment) -> bool:
    """Put a policy into force: every home asked again, marks that no longer hold withdrawn, all or nothing.

    False when there is nothing to do: it is in force, or another was asked for after it. Safe to run twice and at once.
    Raises HomesJoined when homes keep being taken in; the nightly work then tries again.
    """
    for attempt in range(1, ATTEMPTS + 1):
        if pk not in waiting():
            return False
        try:
            return _apply(pk, moment)
        except HomesJoined:
            if attempt == ATTEMPTS:
                raise
    return False


@transaction.atomic
def _apply(pk: int, moment: Moment) -> bool:
    agency = HousePolicy.objects.values_list("agency", flat=True).get(pk=pk)
    chunks = list(_homes(agency))
    for chunk in chunks:  # homes before the agency, the order of every writer
        locked_units(chunk)
    Agency.objects.select_for_update().get(pk=agency)
    if list(_homes(agency)) != chunks:
        raise HomesJoined
    if pk not in waiting():
        return False
    row = HousePolicy.objects.select_related("asked_by").get(pk=pk)
    was = clear_by_what_is_held(chunks, moment)
    marked = _marks(agency)
    row.in_force_at = moment.at
    row.save(update_fields=["in_force_at"])
    barred = dict.fromkeys(was, 0)
    for chunk in chunks:
        for unit, answer in standing.refresh(chunk, moment=moment, actor=row.asked_by).items():
            for purpose, clear in was.items():
                barred[purpose] += unit in clear and not standing.answer_for(answer, purpose).clear
    _record_in_force(row, {"withdrawn": marked - _marks(agency), **barred}, moment)
    return True


def _homes(agency_id: int) -> Iterator[list[int]]:
    ids = list(Unit.objects.filter(agency=agency_id).order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), standing.CHUNK):
        yield ids[start : start + standing.CHUNK]


def clear_by_what_is_held(chunks: list[list[int]], moment: Moment) -> dict[str, set[int]]:
    """Which homes are clear by the policy in force, for "let" and for "sale"; stored answers where they cover today."""
    clear: dict[str, set[int]] = {"let": set(), "sale": set()}
    for chunk in chunks:
        stale = Unit.objects.filter(standing.stale_on(moment.day), pk__in=chunk).values_list("pk", flat=True)
        fresh = standing.on_day(stale, moment.day)
        answers = [(pk, one.let.clear, one.sale.clear) for pk, one in fresh.items()]
        kept = StoredStanding.objects.filter(unit__in=set(chunk) - fresh.keys())
        answers += kept.values_list("unit_id", "let_clear", "sale_clear")
        clear["let"].update(pk for pk, let, _ in answers if let)
        clear["sale"].update(pk for pk, _, sale in answers if sale)
    return clear


def _marks(agency_id: int) -> int:
    return Clearance.objects.filter(unit__agency=agency_id, withdrawn_at__isnull=True).count()


def _record_asked(row: HousePolicy, before: HousePolicy | None, changes: list[str], moment: Moment) -> None:
    instead = (
        f" It takes the place of the one asked for on {_day(before)}, which never came into force."
        if before is not None and before.in_force_at is None
        else ""
    )
    says = f"A new house policy was asked for.{instead} {'. '.join(changes)}. Why: {row.why}"
    data = {"settings": row.settings, "before": before.pk if before else None, "why": row.why}
    happening = Happening(Verb.POLICY_ASKED, f"policy:{row.pk}", says, None, data)
    record([happening], agency_id=row.agency_id, actor=row.asked_by, moment=moment)


def _record_in_force(row: HousePolicy, counts: dict[str, int], moment: Moment) -> None:
    says = f"The house policy asked for on {_day(row)} came into force. {counts_in_words(counts)}"
    happening = Happening(Verb.POLICY_CAME_IN, f"policy:{row.pk}", says, None, counts)
    record([happening], agency_id=row.agency_id, actor=row.asked_by, moment=moment)


def _day(row: HousePolicy) -> str:
    """The London day on which a policy was asked for."""
    return f"{moment_of(row.asked_at).day:%-d %B %Y}"


def counts_in_words(counts: dict[str, int]) -> str:
    """What a policy did when it came into force."""
    return (
        f"Marks withdrawn: {counts['withdrawn']}. Homes that could be let until then and cannot now: {counts['let']}; "
        f"that could be sold: {counts['sale']}."
    )
