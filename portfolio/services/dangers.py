"""A danger goes when it is put right and confirmed, or a newer paper says so; not by a change of other facts unsaid."""

from dataclasses import replace
from datetime import date

from portfolio.facts import Facts
from portfolio.law import model as law
from portfolio.law.lawbook import Lawbook
from portfolio.standing import ask

KINDS = ("danger", "failed")
"""Reasons that tell of something dangerous, not of something missing or out of date."""


def taken_away(before: Facts, after: Facts, day: date, book: Lawbook) -> list[str]:
    """What is dangerous by the first facts and not by the second, in words, with the papers and defects of the second.

    Such as the failed check of a boiler that is said to be another boiler, or to be the tenant's. `book`: the law as
    the agency of the home reads it, whose policy may count more as dangerous.
    """
    (old_building, old), (_, new) = before, after
    same_papers = replace(old, certificates=new.certificates, defects=new.defects, events=new.events)
    gone = _dangers(ask((old_building, same_papers), day, book))
    if gone:
        for danger in _dangers(ask(after, day, book)):
            gone.pop(danger, None)
    return list(gone.values())


def _dangers(standing: law.Standing) -> dict[tuple[str, str | None], str]:
    bars = (*standing.let.bars, *standing.sale.bars)
    return {(bar.kind, bar.of): bar.says for bar in bars if bar.kind in KINDS}
