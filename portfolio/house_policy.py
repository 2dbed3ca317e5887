"""The house policy of each agency: which is in force, and the law book read with it."""

import json
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import Any

from django.db.models import Max, Q

from portfolio.law.lawbook import Lawbook
from portfolio.law.loader import load
from portfolio.law.policy import POLICY, Policy, with_policy
from portfolio.models import HousePolicy, Unit


def in_force(before: datetime | None = None) -> dict[int, str]:
    """The settings in force of every agency that has a policy, by its id, as one line of JSON.

    With `before`, those that were in force just before that instant.
    """
    when = Q(in_force_at__isnull=False) if before is None else Q(in_force_at__lt=before)
    newest = HousePolicy.objects.filter(when).values("agency_id").annotate(newest=Max("pk")).values("newest")
    found = HousePolicy.objects.filter(pk__in=newest).values_list("agency_id", "settings")
    return {agency: json.dumps(settings, sort_keys=True) for agency, settings in found if settings}


@lru_cache(maxsize=256)
def book_with(settings: str) -> Lawbook:
    """The law book as it is read under these settings (a line of `in_force`)."""
    book = load()
    return with_policy(book, Policy.kept(json.loads(settings), book))


def book_of(agency_id: int, before: datetime | None = None) -> Lawbook:
    """The law book as this agency reads it, or with `before` as its policy just before that instant had it."""
    settings = in_force(before).get(agency_id)
    return load() if settings is None else book_with(settings)


def settings_of(agency_id: int) -> dict[str, Any]:
    """What the agency's policy in force asks, empty when it has none."""
    found: dict[str, Any] = json.loads(in_force().get(agency_id, "{}"))
    return found


def books_of(unit_ids: Iterable[int]) -> dict[int, Lawbook]:
    """The law book of each unit's agency, for those units whose agency has a policy."""
    policies = in_force()
    if not policies:
        return {}
    units = Unit.objects.filter(pk__in=list(unit_ids), agency__in=list(policies))
    return {pk: book_with(policies[agency]) for pk, agency in units.values_list("pk", "agency_id")}


@lru_cache(maxsize=256)
def _mark(settings: str) -> str:
    return Policy.kept(json.loads(settings), load()).mark


def held(mark: str = "") -> str:
    """Every pack held and its version, and the mark of a policy if there is one, in one line."""
    packs = ", ".join(f"{pack.name} {pack.version}" for pack in load().packs)
    return f"{packs}, {POLICY} {mark}" if mark else packs


def asked_of_what_is_held(path: str = "") -> Q:
    """The condition on Unit (or a relation `path__` to it) that its stored answer is of the law and policy held now."""
    policies = in_force()
    plain = Q(**{f"{path}standing__law": held()}) & ~Q(**{f"{path}agency__in": list(policies)})
    alike: dict[str, list[int]] = {}
    for agency, settings in policies.items():
        alike.setdefault(_mark(settings), []).append(agency)
    for mark, agencies in alike.items():
        plain |= Q(**{f"{path}agency__in": agencies, f"{path}standing__law": held(mark)})
    return plain
