"""What to do now about something urgent, and what this tool does not do. Words for users, from memory of safety advice.

The texts stand in `cautions.toml`; which of them a code calls for stands here, and a typical defect adds its own.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from inspections.catalogue import typical as known
from inspections.urgency import urgency
from portfolio.law.model import NATIONS
from portfolio.law.packfile import LIST, TABLE, TEXT, Place, check_keys, toml

FILE = Path(__file__).with_name("cautions.toml")
LIMITS = (
    "This tool keeps records and reminds of limits. It does not inspect, test or certify, and it does not decide that "
    "a home is safe.",
    "The code is the judgement of the inspector who gave it. What the tool suggests is a suggestion.",
    "Electrical work and testing are for skilled and competent people, gas work for registered gas engineers only.",
    "Numbers of regulations and limits are those of the edition named beside them; the edition in force may differ.",
    "A missing certificate does not prove bad work, and a certificate does not prove that nothing has changed since.",
    "Days set by law depend on the nation, the letting and the landlord. Check them before you rely on them.",
)
"""What every report and job sheet says of the tool itself."""

_ELECTRIC = ("burning", "shock", "live_parts", "tell", "electrician")
_GAS = ("gas_escape", "carbon_monoxide", "gas_off", "tell", "gas_engineer")
_GAS_URGENT = ("gas_escape", "gas_off", "gas_engineer")
_FIRE = ("burning", "way_out", "tell")
_DANGER = ("danger", "tell")


@dataclass(frozen=True)
class Book:
    says: Mapping[str, tuple[str, ...]]
    """Sentences by key, in the order in which they are told."""
    numbers: Mapping[str, Mapping[str, str]]
    """Telephone numbers by name, then by nation or "unknown"."""


def cautions(
    *,
    scheme: str,
    code: str,
    trade: str | None = None,
    suspected: bool = False,
    nation: str | None = None,
    typical: str = "",
) -> tuple[str, ...]:
    """What to do now, the most pressing first; empty when nothing is.

    `typical`: its id in the catalogue; one that is not known there adds nothing. With no nation, the numbers of all.
    Raises ValueError for a scheme or code that is not known.
    """
    keys = set(_keys(scheme, code, trade, suspected))
    if typical in known():
        keys |= set(known()[typical].cautions)
    return told(keys, nation)


def told(keys: Iterable[str], nation: str | None) -> tuple[str, ...]:
    """The sentences of these keys in the order of the file. Raises KeyError for a key that is not there."""
    book = load()
    wanted = set(keys)
    if missing := wanted - book.says.keys():
        raise KeyError(f"cautions: {', '.join(sorted(missing))} not in {FILE.name}")
    numbers = {name: by.get(nation or "unknown", by["unknown"]) for name, by in book.numbers.items()}
    return tuple(
        says.format_map(numbers) for key, all_says in book.says.items() if key in wanted for says in all_says
    )


def _keys(scheme: str, code: str, trade: str | None, suspected: bool) -> tuple[str, ...]:
    band = urgency(scheme, code, found=None, trade=trade, suspected=suspected).band
    gas = scheme == "igem_g11" or trade == "gas"
    if band > 1 or (band == 1 and not gas):
        return ()
    if gas:
        return _GAS if band == 0 else _GAS_URGENT
    if scheme == "bs7671" or trade == "electrical":
        return _ELECTRIC
    return _FIRE if scheme == "fire" else _DANGER


@cache
def load() -> Book:
    """The cautions held. Raises `PackError` for the first fault found."""
    return read(FILE)


def read(file: Path) -> Book:
    """The cautions of a file. Raises `PackError` naming the file, the key and the cure."""
    place, data = Place(file), toml(file)
    check_keys(place, data, {"numbers": TABLE, "cautions": TABLE}, {})
    for name, by_nation in data["numbers"].items():
        _check_table(place / "numbers" / name, by_nation)
        check_keys(place / "numbers" / name, by_nation, dict.fromkeys((*NATIONS, "unknown"), TEXT), {})
    blank = dict.fromkeys(data["numbers"], "")
    for key, entry in data["cautions"].items():
        where = place / "cautions" / key
        _check_table(where, entry)
        check_keys(where, entry, {"says": LIST}, {})
        for number, says in enumerate(entry["says"]):
            _check_sentence(where / "says" / number, says, blank)
    says = {key: tuple(entry["says"]) for key, entry in data["cautions"].items()}
    return Book(says, data["numbers"])


def _check_table(where: Place, entry: object) -> None:
    if not isinstance(entry, dict):
        raise where.fault("not a table", "Write its keys under it.")


def _check_sentence(where: Place, says: object, numbers: Mapping[str, str]) -> None:
    if not isinstance(says, str) or not says.endswith("."):
        raise where.fault(f"{says!r} is not a sentence", "Write a sentence with a full stop.")
    try:
        says.format_map(numbers)
    except (KeyError, ValueError, IndexError) as error:
        known_numbers = ", ".join(sorted(numbers))
        raise where.fault(
            f"{says!r} names no number held", f"In braces use one of: {known_numbers}."
        ) from error
