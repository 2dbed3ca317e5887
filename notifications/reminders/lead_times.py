"""How long before its last good day somebody is told: what holds for everybody, and what an agency set instead."""

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from notifications.models import LeadTime
from notifications.words import DUTY
from portfolio import words
from portfolio.selectors.steps import FACTS_FOR, PAPER_FOR

ALARMS = "alarms"
OTHER = "other"
KINDS = (*words.CERTIFICATE, ALARMS, DUTY)
"""What has lead times of its own: each kind of paper, alarms (which have none), and all duties together."""
Leads = Mapping[str, tuple[int, ...]]
"""Days before the last good day by kind, the most first."""


@cache
def defaults() -> Leads:
    """What holds where an agency has set nothing else."""
    told = _file()
    return {kind: tuple(told.get(kind, told[OTHER])) for kind in KINDS}


@cache
def late_days() -> tuple[int, ...]:
    """Days after its last day on which a duty that is late is told again."""
    return tuple(_file()["duty_late"])


def leads_of(agency_id: int) -> Leads:
    """The lead times of an agency. One query."""
    own = LeadTime.objects.filter(agency=agency_id).values_list("kind", "days")
    return {**defaults(), **{kind: tuple(days) for kind, days in own if kind in KINDS}}


def kind_of(code: str) -> str:
    """Whose lead times a requirement follows."""
    if FACTS_FOR.get(code) == ALARMS:
        return ALARMS
    return PAPER_FOR.get(code, OTHER)


@cache
def _file() -> dict[str, list[int]]:
    return tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
