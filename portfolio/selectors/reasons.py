"""Reasons as a page shows them: the same thing said once, with every source, and the next step as a link."""

from collections.abc import Iterable
from dataclasses import dataclass

from portfolio import words
from portfolio.law import model as law
from portfolio.selectors.steps import Spoken, Step, step_for


@dataclass(frozen=True, slots=True)
class Ground:
    source: str
    basis: law.Basis


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
        words.plainly(first.says), first.cure, about, first.since, grounds, step_for(first, home), running
    )
