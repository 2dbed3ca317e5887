"""The answer for one piece of work."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date

from inspections.paperwork.data import COMPLIANCE, Ask, Book, Notify, Work, load
from inspections.paperwork.places import MEANS, PLACES
from portfolio.law.model import NATIONS

__all__ = ["PLACES", "Papers", "expected", "missing"]

_NO_NATION = "the nation of the home is not recorded"
_NO_PLACE = "the place of the work is not recorded"
_NOT_HOW_NEAR = "whether the work is in the zones round the bath or shower is not recorded"


@dataclass(frozen=True)
class Papers:
    work: str
    asked: tuple[Ask, ...]
    """What must come back; empty when no paper is asked for."""
    notifiable: str
    """"yes", "no" or "not_known"."""
    notify_says: str
    """Why, or what is missing to know."""
    notify_basis: str
    notify_source: str
    routes: tuple[str, ...] = ()
    """The ways to have it notified, where it has to be."""
    says: str = ""
    """What to keep where no paper is asked for."""


def expected(work: str, *, place: str | None, nation: str | None, on: date) -> Papers:
    """What work finished on `on` leaves. `place`: a code of PLACES; None for either: not recorded.

    Raises ValueError for a work, place or nation that is not known.
    """
    book = load()
    for name, value, known in (
        ("work", work, tuple(book.works)),
        ("place", place, tuple(PLACES)),
        ("nation", nation, NATIONS),
    ):
        if value is not None and value not in known:
            raise ValueError(f"{name}: {value!r} is not known. Use one of: {', '.join(known)}.")
    kind = book.works[work]
    found = _notify(book, kind, place, nation, on)
    asked = tuple(book.asks[key] for key in kind.asks if book.asks[key].fits(nation))
    if found.answer == "yes":
        asked += (book.asks[COMPLIANCE],)
    return Papers(
        work=work,
        asked=asked,
        notifiable=found.answer,
        notify_says=found.says,
        notify_basis=found.basis,
        notify_source=found.source,
        routes=book.routes.get(found.routes, ()),
        says=kind.says,
    )


def missing(papers: Papers, held: Collection[str]) -> tuple[Ask, ...]:
    """What is asked and not among the kinds of paper held."""
    return tuple(ask for ask in papers.asked if not set(ask.kinds) & set(held))


def _notify(book: Book, kind: Work, place: str | None, nation: str | None, on: date) -> Notify:
    """The rule that answers. Where something is not recorded, only if every possibility answers alike."""
    nations = (nation,) if nation else NATIONS
    places = MEANS.get(place, (place,)) if place else tuple(code for code in PLACES if code not in MEANS)
    rules = {(of, one): _rule(book, kind, one, of, on) for of in nations for one in places}
    first = rules[nations[0], places[0]]
    alike = all(rule.answer == first.answer for rule in rules.values())
    if alike and (first.answer != "not_known" or len(set(rules.values())) == 1):
        return first
    by_nation = any(len({rules[of, one] for of in nations}) > 1 for one in places)
    by_place = any(len({rules[of, one] for one in places}) > 1 for of in nations)
    wanting = [_NO_NATION] if by_nation else []
    if by_place:
        wanting.append(_NO_PLACE if place is None else _NOT_HOW_NEAR)
    says = f"Not known whether it has to be notified: {', and '.join(wanting)}."
    return replace(first, answer="not_known", says=says, routes="", basis="not recorded")


def _rule(book: Book, kind: Work, place: str, nation: str, on: date) -> Notify:
    return next(rule for rule in book.notify[kind.notify] if rule.fits(nation, place, on))
