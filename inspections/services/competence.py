"""Who may confirm that a defect is put right: somebody competent for it who has no hand in the work."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Self

from django.db.models import Q

from inspections.models import Competence, Defect, Evidence, JobItem
from inspections.services.ties import ties_of
from portfolio import access, words
from portfolio.clock import Moment


def scheme_judged(defect: Defect) -> str:
    """The scheme whose competence the defect asks for: a gas defect is gas, whoever saw it first."""
    return "igem_g11" if defect.trade == "gas" else defect.scheme


def competent_for(user: Any, day: date) -> frozenset[str]:
    """The schemes for which this person's competence is on record and in date on that day."""
    current = Competence.objects.filter(Q(until=None) | Q(until__gte=day), user=user)
    return frozenset(
        current.filter(Q(withdrawn=None) | Q(withdrawn__gt=day)).values_list("scheme", flat=True)
    )


@dataclass(frozen=True, slots=True)
class Judge:
    """What decides whether one person may confirm, read once for any number of defects."""

    user: Any
    inspects: bool
    schemes: frozenset[str]
    ties: Mapping[int, date | None]
    """The contractors this person works or worked for, or is or was paid by, by id: until when (`ties_of`)."""

    @classmethod
    def of(cls, user: Any, day: date) -> Self:
        inspects = access.may(user, "confirm")
        if not inspects:
            return cls(user, False, frozenset(), {})
        return cls(user, True, competent_for(user, day), ties_of(user))

    def why_not(self, defect: Defect, people: Mapping[int, str], firms: Collection[int]) -> str:
        """Why this person may not confirm this defect; empty when they may. `people`, `firms`: as of `hands_of`."""
        if not self.inspects:
            return "Only an inspector can confirm that a defect is put right."
        scheme = scheme_judged(defect)
        if scheme not in self.schemes:
            return (
                f"Your competence for {words.SCHEME[scheme]} is not on record, or has ended. "
                "A letting agent records it on the page People."
            )
        did = DONE if defect.completed_by_id == self.user.pk else people.get(self.user.pk)
        if did is not None:
            return f"{did}, so somebody else has to confirm it."
        if any(self._tied(firm, defect.found) for firm in {defect.completed_for_id, *firms}):
            return "You work for the contractor who did this, or are paid by them; somebody else has to confirm it."
        return ""

    def _tied(self, firm: int | None, found: date | None) -> bool:
        """Is, or was since the defect was found. A tie that ended before is none to its repair."""
        if firm is None or firm not in self.ties:
            return False
        until = self.ties[firm]
        return until is None or found is None or until >= found


def why_not_confirm(user: Any, defect: Defect, moment: Moment) -> str:
    """Why this person may not confirm this defect now; empty when they may."""
    people, firms = hands_in(defect)
    return Judge.of(user, moment.day).why_not(defect, people, firms)


Hands = tuple[dict[int, str], set[int]]
"""Ids of people with what each did, in words for them, and ids of contractors."""
DONE = "You recorded that the work is done"
PROOF = "You brought the proof"
SAFE = "You recorded that it was made safe for now"


def hands_in(defect: Defect) -> Hands:
    """Who has a hand in the repair of one defect (`hands_of`)."""
    return hands_of([defect.pk])[defect.pk]


def hands_of(defect_ids: Iterable[int]) -> dict[int, Hands]:
    """The people, and the contractors, with a hand in it, by defect: who ever said that it was done, made it safe for
    now, brought proof of it or were sent it.

    Earlier states count: whoever said so in vain has still had a hand in it. Four queries, however many they are.
    """
    ids = list(defect_ids)
    found: dict[int, Hands] = {pk: ({}, set()) for pk in ids}
    after = Evidence.objects.filter(defect__in=ids, stage="after")
    said = Defect.history.filter(id__in=ids)
    rows = [
        *((DONE, *row) for row in said.values_list("id", "completed_by", "completed_for")),
        *((PROOF, *row) for row in after.values_list("defect", "added_by", "contractor")),
        *((SAFE, *row) for row in said.values_list("id", "made_safe_by", "made_safe_for")),
        *(("", pk, None, firm) for pk, firm in _sent(ids)),
    ]
    for did, pk, person, firm in rows:
        people, firms = found[pk]
        if person is not None:
            people.setdefault(person, did)
        if firm is not None:
            firms.add(firm)
    return found


def _sent(ids: list[int]) -> Iterable[tuple[int, int]]:
    return JobItem.objects.filter(defect__in=ids).values_list("defect", "job__contractor")
