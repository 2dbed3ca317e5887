"""Which home a row speaks of: found among those on record, or given a ref that the same row will give again."""

import hashlib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from portfolio.exchange.sheets.cells import Bad, short
from portfolio.exchange.sheets.values import Said
from portfolio.models import Agency, Building, Landlord, Unit

LABEL = re.compile(r"(?:(?:the )?(?:flat|apartment|apt|unit|room|studio|maisonette|plot)\b|(?:basement|ground floor|"
                   r"first floor|second floor|third floor|top floor|garden) flat\b)", re.IGNORECASE)  # fmt: skip
LABEL_THEN_STREET = re.compile(
    r"((?:flat|apartment|apt|unit|room) \w{1,4}) +(\d.*)", re.IGNORECASE | re.ASCII
)
NUMBER_ALONE = re.compile(r"\d{1,4}[A-Za-z]?(?:-\d{1,4})?", re.ASCII)
POSTCODE_AT_END = re.compile(r"\s*\b([A-Z]{1,2}\d[A-Z\d]?) ?(\d[A-Z]{2})\s*$", re.IGNORECASE | re.ASCII)
PLAIN_LABEL = re.compile(r"^(?:flat|apartment|apt|unit|no|number) (?=\w)")


def key_of(text: str | None) -> str:
    """A name as it is compared: without case, punctuation, accents or double spaces."""
    flat = unicodedata.normalize("NFKD", (text or "").casefold())
    return " ".join(re.findall(r"[^\W_]+", "".join(c for c in flat if not unicodedata.combining(c))))


def label_key(text: str | None) -> str:
    """`Flat 2`, `Apt 2` and `2` are one label."""
    return PLAIN_LABEL.sub("", key_of(text))


def slug(*parts: str | None) -> str:
    """A ref made of names: always the same for the same names, at most 100 characters."""
    text = "-".join(key_of(part).replace(" ", "-") for part in parts if key_of(part))
    if len(text) <= 90 and text:
        return text
    whole = "\n".join(part or "" for part in parts)
    return f"{text[:70]}-{hashlib.sha256(whole.encode()).hexdigest()[:12]}".strip("-")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a row says the home is. `name` is the building's: its own, or the first line of the address."""

    name: str | None
    label: str | None
    address: tuple[str, ...] | None
    postcode: str | None


def place_of(row: Said) -> Place:
    """The parts of the address a row gives, in whichever columns."""
    parts, postcode = _without_postcode(list(row.get("address") or ()), row.get("postcode"))
    label = row.get("label")
    if parts and (found := LABEL_THEN_STREET.fullmatch(parts[0])):
        parts[:1] = [found[1], found[2]]
    if len(parts) > 1 and NUMBER_ALONE.fullmatch(parts[0]):
        parts[:2] = [f"{parts[0]} {parts[1]}"]
    if len(parts) > 1 and (label_key(parts[0]) == label_key(label) if label else LABEL.match(parts[0])):
        label = label or parts[0]
        parts = parts[1:]
    for key in ("address1", "address2", "address3", "town", "county"):
        line = row.get(key)
        if line and key_of(line) not in map(key_of, parts):
            parts.append(line)
    name = row.get("building") or (parts[0] if parts else None)
    return Place(name, label, tuple(parts) or None, postcode)


def _without_postcode(parts: list[str], postcode: str | None) -> tuple[list[str], str | None]:
    if parts and (found := POSTCODE_AT_END.search(parts[-1])):
        rest = parts[-1][: found.start()].strip()
        parts = parts[:-1] + ([rest] if rest else [])
        postcode = postcode or f"{found[1]} {found[2]}".upper()
    return parts, postcode


@dataclass(slots=True)
class Held:
    """One building: on record, or new in this file."""

    ref: str
    names: frozenset[str]
    postcode: str | None
    stored: bool


@dataclass(slots=True)
class HeldUnit:
    pk: int
    ref: str
    label: str | None
    building: str


@dataclass(slots=True)
class Known:
    """Buildings, homes and landlords of one agency, as a row may name them, and the buildings new in the file."""

    buildings: dict[str, Held] = field(default_factory=dict)
    by_name: dict[str, list[Held]] = field(default_factory=lambda: defaultdict(list))
    units: dict[str, HeldUnit] = field(default_factory=dict)
    by_label: dict[tuple[str, str], list[HeldUnit]] = field(default_factory=lambda: defaultdict(list))
    landlords: dict[str, tuple[str, str]] = field(default_factory=dict)
    """(name, e-mail) by ref."""
    by_landlord: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))

    def add_building(self, held: Held) -> Held:
        self.buildings[held.ref] = held
        for name in held.names:
            self.by_name[name].append(held)
        return held

    def building_for(self, row: Said, place: Place) -> Held | None:
        """The building a row names, or None when it names none. Raises Bad where it could be one of several."""
        ref = row.get("building_ref")
        if ref in self.buildings:
            return self.buildings[ref]
        if ref is None and place.name is None:
            return None
        found = [] if ref else self._named(place)
        if len(found) > 1:
            refs = ", ".join(sorted(held.ref for held in found)[:5])
            raise Bad(f"{short(place.name or '')} could be one of {len(found)} buildings ({refs})",
                      "give the postcode or the building's ref")  # fmt: skip
        return found[0] if found else self._new(ref, place)

    def _named(self, place: Place) -> list[Held]:
        named = self.by_name.get(key_of(place.name), [])
        exact = [held for held in named if place.postcode and held.postcode == place.postcode]
        return exact or [held for held in named if not held.postcode or not place.postcode]

    def _new(self, ref: str | None, place: Place) -> Held:
        told_by = place.postcode or (place.address or ("",))[-1]
        ref = ref or slug(place.name, told_by if told_by != place.name else None)
        if ref in self.buildings:
            return self.buildings[ref]
        return self.add_building(Held(ref, frozenset({key_of(place.name)}), place.postcode, stored=False))

    def landlord_ref(self, row: Said) -> str | None:
        """Ref of the landlord a row names; a name not on record is its own ref. Raises Bad."""
        name, ref = row.get("landlord"), row.get("landlord_ref")
        if ref or not name:
            return ref
        found = self.by_landlord.get(key_of(name), set())
        if len(found) > 1:
            raise Bad(f"{len(found)} landlords are called {short(name)}", "add a column Landlord ref")
        return next(iter(found), None) or (name if len(name) <= 100 else slug(name))


def known_of(agency: Agency) -> Known:
    """What is on record of an agency, in four queries."""
    known = Known()
    rows = Building.objects.filter(agency=agency).order_by("pk")
    for ref, name, address, postcode in rows.values_list("ref", "name", "address", "postcode"):
        names = frozenset(key_of(text) for text in (name, *(address or ())[:1]) if text)
        known.add_building(Held(ref, names, postcode, stored=True))
    units = Unit.objects.filter(agency=agency).order_by("pk")
    for pk, ref, label, building in units.values_list("pk", "ref", "label", "building__ref"):
        unit = HeldUnit(pk, ref, label, building)
        known.units[ref] = unit
        known.by_label[building, label_key(label)].append(unit)
    landlords = Landlord.objects.filter(agency=agency).values_list("ref", "name", "email")
    for ref, name, email in landlords:
        known.landlords[ref] = (name, email)
        known.by_landlord[key_of(name)].add(ref)
    return known


def register(known: Known, rows: Iterable[Said]) -> None:
    """Buildings the file names most fully come first, so that a row without the postcode finds them."""
    places = [(row, place_of(row)) for row in rows]
    for row, place in sorted(places, key=lambda p: (not p[0].get("building_ref"), not p[1].postcode)):
        if row.get("building_ref") or place.postcode:
            try:
                known.building_for(row, place)
            except Bad:
                continue  # The row itself says so when its turn comes.
