"""Reasons as a page shows them: the same thing said once, with every source, and the next step as a link."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from portfolio import words
from portfolio.law import model as law
from portfolio.models import Unit
from portfolio.selectors.missing import UNIT

PAPER_FOR = {
    "eng_eicr": "eicr",
    "gb_gas_check": "gas_safety_record",
    "ew_epc": "epc",
    "ew_mees": "epc",
    "eng_hmo_licence": "hmo_licence",
}
"""The kind of paper that answers a requirement."""
FACTS_FOR = {"eng_alarms": "alarms"}
"""The part of the page of facts where a requirement is answered."""


@dataclass(frozen=True, slots=True)
class Ground:
    source: str
    basis: law.Basis


@dataclass(frozen=True, slots=True)
class Step:
    """What to do next: words for a link, its address, and what a role must be allowed to follow it."""

    says: str
    url: str
    needs: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing that stands in the way. `about` names the appliance or paper in plain words, if there is one.

    `running`: the home is let, and this goes on for those who live in it.
    """

    says: str
    cure: str
    about: str
    since: object
    grounds: tuple[Ground, ...]
    step: Step | None
    running: bool


@dataclass(frozen=True, slots=True)
class Spoken:
    """The home that reasons speak of: plain words for each ref in it, and the ids of its papers by ref."""

    unit: Unit
    names: Mapping[str, str]
    papers: Mapping[str, int]


def goes_on(warning: law.Reason, bar: law.Reason) -> bool:
    """Does a warning only say of a bar that it goes on while the home is let?"""
    return warning.of == bar.of and warning.says != bar.says and warning.says.endswith(bar.says[1:])


def shown(reasons: Iterable[law.Reason], home: Spoken, warnings: Iterable[law.Reason] = ()) -> list[Shown]:
    """Reasons that say the same of the same thing become one, with the sources of all.

    `warnings`: those beside them, which may say of a reason that it goes on now.
    """
    beside = tuple(warnings)
    together: dict[tuple[str, str | None], list[law.Reason]] = {}
    for reason in reasons:
        together.setdefault((reason.says, reason.of), []).append(reason)
    return [
        _shown(same, home, any(goes_on(warning, reason) for warning in beside for reason in same))
        for same in together.values()
    ]


def _shown(same: list[law.Reason], home: Spoken, running: bool) -> Shown:
    first = same[0]
    about = home.names.get(first.of, "") if first.of else ""
    about = "" if about in first.says else about
    grounds = tuple(dict.fromkeys(Ground(reason.source, reason.basis) for reason in same))
    return Shown(
        words.plainly(first.says), first.cure, about, first.since, grounds, _step(first, home), running
    )


def _step(reason: law.Reason, home: Spoken) -> Step | None:
    unit = home.unit
    if reason.kind == "danger":
        return Step("See the defects", reverse("defects", args=[unit.pk]), "see")
    if reason.kind == "unknown":
        return _record(reason, home)
    if reason.requirement in PAPER_FOR:
        kind = "selective_licence" if "selective" in reason.says else PAPER_FOR[reason.requirement]
        url = f"{reverse('certificate_add', args=[unit.pk])}?{urlencode({'kind': kind})}"
        return Step(f"Add: {words.CERTIFICATE[kind]}", url, "add_certificate")
    if reason.requirement in FACTS_FOR:
        url = f"{reverse('home_facts', args=[unit.pk])}#{FACTS_FOR[reason.requirement]}"
        return Step(f"Change the {FACTS_FOR[reason.requirement]}", url, "edit_home")
    return None


def _record(reason: law.Reason, home: Spoken) -> Step | None:
    """Where a missing fact can be recorded; the reason names it in brackets, as in "(letting.kind)"."""
    unit, paper = home.unit, home.papers.get(reason.of or "")
    fact = reason.says.rpartition("(")[2].partition(")")[0]
    if fact in ("defects", "certificates"):
        name = "defects" if fact == "defects" else "certificate_add"
        return Step(
            "Record it", reverse(name, args=[unit.pk]), "see" if fact == "defects" else "add_certificate"
        )
    if paper is not None:
        return Step("Complete the paper", reverse("certificate_correct", args=[paper]), "correct_certificate")
    anchor = fact.partition(".")[0]
    if fact in UNIT:
        anchor = f"id_home-{UNIT[fact]}"
    elif anchor not in ("rooms", "appliances", "alarms"):
        anchor = f"id_building-{fact}"
    return Step("Record it", f"{reverse('home_facts', args=[unit.pk])}#{anchor}", "edit_home")
