"""What the page of a visit knows without the network: typical defects, and what to do now about a danger."""

from typing import Any

from inspections.catalogue import Typical, typical
from inspections.cautions import cautions, load, told
from inspections.selectors.visits import SAID, SHAPE
from inspections.words import TRADE, TRADE_OF
from portfolio import words
from portfolio.law import model as law

SUSPECTED = "gas"
"""Stands where a scheme does, for a gas fault seen by somebody who may not class it."""
SUSPECTED_CODES = {
    "danger": "Suspected gas defect, dangerous now",
    "repair": "Suspected gas defect, not dangerous now",
}


def hints(nation: str | None) -> dict[str, Any]:
    """Sentences once, and who needs which by its number: by class and trade, and by typical defect.

    `typical`: by its title in small letters: id, scheme of the form, trade, what it usually is.
    """
    of_class = {value: _by_trade(value, nation) for value in _classes()}
    of_typical = {one.id: told(one.cautions, nation) for one in typical().values() if one.cautions}
    sentences = _in_order(nation)
    number = {says: at for at, says in enumerate(sentences)}
    return {
        "sentences": sentences,
        "of_class": {
            value: {trade: [number[one] for one in says] for trade, says in by_trade.items() if says}
            for value, by_trade in of_class.items()
            if any(by_trade.values())
        },
        "of_typical": {key: [number[one] for one in says] for key, says in of_typical.items()},
        "typical": {
            one.title.casefold(): [one.id, scheme_of(one), one.trade, usually(one)]
            for one in typical().values()
        },
        "trade_of": TRADE_OF,
        "said": SAID,
        "shape": SHAPE,
    }


def scheme_of(one: Typical) -> str:
    """The scheme that the form of a visit offers for it."""
    return SUSPECTED if one.suspected else one.scheme


def usually(one: Typical) -> str:
    """What a typical defect usually is, in words; the inspector decides."""
    code = words.CODE[one.code].split(":")[0] if one.code else "no class"
    if one.suspected:
        code = SUSPECTED_CODES.get(one.code, code).lower()
    return f"Usually {code}{f'; {one.unless}' if one.unless else ''}. You decide."


def parted(value: str) -> tuple[str, str, str | None, bool]:
    """Scheme, code, trade and whether it is only suspected, of a class as the form of a visit names it."""
    scheme, _, code = value.partition(":")
    if scheme == SUSPECTED:
        return "other", code, "gas", True
    return scheme, code, TRADE_OF.get(scheme), False


def _classes() -> list[str]:
    classes = [f"{scheme}:{code}" for scheme, codes in law.CODES.items() for code in codes if code != "NCS"]
    return [f"{SUSPECTED}:{code}" for code in SUSPECTED_CODES] + classes


def _by_trade(value: str, nation: str | None) -> dict[str, tuple[str, ...]]:
    """What to do now about a class, by the trade that a typical defect adds; "" for its own."""
    scheme, code, own, suspected = parted(value)
    says = {}
    for trade in ("", *TRADE):
        gas = trade == "gas" and scheme != "igem_g11"
        says[trade] = cautions(
            scheme=scheme, code=code, trade=trade or own, suspected=suspected or gas, nation=nation
        )
    return says


def _in_order(nation: str | None) -> list[str]:
    """Every sentence there is, in the order in which they are told."""
    return list(told(load().says, nation))
