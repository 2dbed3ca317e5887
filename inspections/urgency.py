"""How soon a defect has to be seen to: a band, and the last good day with the reason for it.

The bands and their days are our own, after common practice; nobody has laid them down. What the law asks of this very
defect comes in as `law_due`, and a house policy may shorten our days. The earliest of them counts.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from portfolio.law.dates import within_days_of
from portfolio.law.model import CODES
from portfolio.law.policy import REPAIR_DAYS

URGENT, IMPROVEMENT = 1, 3
PRACTICE_DAYS: Mapping[int, int] = {0: 0} | dict(enumerate(REPAIR_DAYS.values(), start=URGENT))
"""Days from the day it was found, by band; a band that is not here has no day."""
INVESTIGATION_DAYS = 28
"""For FI, whatever an edition says about the overall result: it still has to be looked into."""
PRACTICE = "common practice, no source"
LAW, HOUSE_POLICY, NO_DAY = "law", "house policy", "no day"

_BANDS = {
    "bs7671": {"C1": 0, "C2": 1, "FI": 1, "C3": 3},
    "igem_g11": {"ID": 0, "AR": 1, "NCS": 4},
    "hhsrs": {"cat1": 1, "cat2": 2},
    "fire": {"intolerable": 0, "substantial": 1, "moderate": 2, "tolerable": 3, "trivial": 4},
    "damp_mould": {"emergency": 0, "significant": 1, "minor": 2},
    "other": {"danger": 0, "repair": 2, "note": 4},
}
_STANDARD = {
    "bs7671": "BS 7671, the classification codes of the condition report",
    "igem_g11": "IGEM/G/11 (NCS no longer used since 1 July 2015)",
    "hhsrs": "Housing Act 2004 ss.1, 2, 5 and 7 (category 1 and 2 hazards)",
    "fire": "The five words of a fire risk assessment (PAS 79), from memory",
    "damp_mould": "The words of SI 2025/1042 for social homes in England, used elsewhere as common practice",
    "other": "Our own words",
}
_REGISTERED = "Gas Safety (Installation and Use) Regulations 1998, reg 3 (Northern Ireland: SR 2004/63)"
_MEANS = {
    "C1": "somebody can be hurt now", "C2": "one more fault would make it dangerous",
    "FI": "a danger is suspected and has to be looked into", "C3": "an improvement, no danger",
    "ID": "a danger to life if it is used", "AR": "could become dangerous; it stays off until repaired",
    "NCS": "a class no longer used", "cat1": "a council must act on it", "cat2": "a council may act on it",
    "intolerable": "nobody should stay there until the risk is brought down",
    "substantial": "a serious risk while people live there", "moderate": "a risk to be brought down in a set time",
    "tolerable": "a small improvement", "trivial": "nothing has to be done",
    "emergency": "a danger to health now", "significant": "a risk to health", "minor": "no risk to health yet",
    "danger": "somebody can be hurt now", "repair": "it has to be repaired", "note": "nothing has to be done",
}  # fmt: skip
_RENTED = {
    "england": "England’s law (SI 2020/312)",
    "northern_ireland": "Northern Ireland’s law (SR 2024/201)",
}
"""The law that gives electrical work in rented homes 28 days or the shorter time in the report."""


@dataclass(frozen=True)
class Urgency:
    band: int
    """0 to 4, as in `words.BAND`."""
    due: date | None
    """The last good day; None when there is none or it cannot be known."""
    why: str
    """Which day this is and why, in sentences for users."""
    basis: str
    """What the day rests on: LAW, HOUSE_POLICY, PRACTICE or NO_DAY."""
    source: str
    """Where the day, or for our own days the meaning of the code, comes from."""

    @property
    def advised(self) -> bool:
        """Is its day mere advice? An improvement that neither law nor house policy asks for is never late."""
        return self.band == IMPROVEMENT and self.basis == PRACTICE

    @property
    def asked_by(self) -> date | None:
        """The last good day, where it is more than advice."""
        return None if self.advised else self.due

    def days_late(self, day: date) -> int:
        """By how many days it is late on that day; 0 when it is not, or has no last day."""
        return max(0, (day - self.asked_by).days) if self.asked_by is not None else 0


def urgency(
    scheme: str,
    code: str,
    *,
    found: date | None,
    trade: str | None = None,
    suspected: bool = False,
    nation: str | None = None,
    law_due: date | None = None,
    law_says: str = "",
    days: Mapping[int, int] | None = None,
) -> Urgency:
    """Band and last good day of a defect.

    `suspected`: seen by somebody of another trade. `law_due`, `law_says`: the earliest day the law sets for it, and
    the duty in words. `days`: a house policy's days by band (`days_of`); longer ones than ours change nothing.
    Raises ValueError for a scheme or code that is not known.
    """
    band, means = _band(scheme, code, trade, suspected)
    standard = _REGISTERED if _gas_suspected(scheme, trade, suspected) else _STANDARD[scheme]
    own, basis, source, says = _own((scheme, code), band, f"{means}.", standard, found, days)
    hint = _hint(scheme, code, nation, law_due)
    if law_due is not None and (own is None or law_due <= own):
        more = f" {law_says.strip()}" if law_says.strip() else ""
        if found is None and band in PRACTICE_DAYS:
            more += (
                " The day it was found is not recorded, so our own day, which may be earlier, is not known."
            )
        source = law_says.strip() or "The law of the home’s nation"
        return Urgency(
            band, law_due, f"By {_words(law_due)}, the day the law sets: {means}.{more}", LAW, source
        )
    return Urgency(band, own, says + hint, basis, source)


def _band(scheme: str, code: str, trade: str | None, suspected: bool) -> tuple[int, str]:
    if scheme not in _BANDS:
        raise ValueError(f"scheme: {scheme!r} is not known. Use one of: {', '.join(CODES)}.")
    if code not in _BANDS[scheme]:
        raise ValueError(f"code: {code!r} is not one of {scheme}. Use one of: {', '.join(CODES[scheme])}.")
    if _gas_suspected(scheme, trade, suspected):
        if code in ("danger", "C1", "intolerable", "emergency"):
            return 0, "a danger from gas or fumes is suspected; only a registered gas engineer can class it"
        return URGENT, "a gas fault is suspected; only a registered gas engineer can class it"
    return _BANDS[scheme][code], _MEANS[code]


def _gas_suspected(scheme: str, trade: str | None, suspected: bool) -> bool:
    return suspected and trade == "gas" and scheme != "igem_g11"


def _own(
    code: tuple[str, str],
    band: int,
    means: str,
    standard: str,
    found: date | None,
    days: Mapping[int, int] | None,
) -> tuple[date | None, str, str, str]:
    """The day without the law, its basis and source, and a sentence."""
    if band not in PRACTICE_DAYS:
        return None, NO_DAY, standard, f"No day: {means}"
    most, basis = PRACTICE_DAYS[band], PRACTICE
    if code == ("bs7671", "FI"):
        most = INVESTIGATION_DAYS
    if days is not None and band > 0 and (shorter := max(0, days.get(band, most))) < most:
        most, basis, standard = shorter, HOUSE_POLICY, "House policy of the agency"
    at_once = "Act at once" if band == 0 else f"Act within {most} {'day' if most == 1 else 'days'}"
    rests = "the house policy asks this" if basis == HOUSE_POLICY else "common practice"
    if found is None:
        says = (
            f"{at_once} ({rests}): {means} The day it was found is not recorded, so no last day can be told."
        )
        return None, basis, standard, says
    due = within_days_of(found, most)
    by = "Advised by" if band == IMPROVEMENT and basis == PRACTICE else "By"
    when = (
        f"{at_once}, on the day it was found"
        if band == 0
        else f"{by} {_words(due)}, {_span(most)} after it was found"
    )
    return due, basis, standard, f"{when} ({rests}): {means}"


def _hint(scheme: str, code: str, nation: str | None, law_due: date | None) -> str:
    """What the law may ask and is not reckoned, as nothing on record sets its day."""
    if law_due is not None or scheme != "bs7671" or code == "C3":
        return ""
    if nation is None:
        return " The nation is not recorded, so it is not known whether the law sets a day."
    if nation in _RENTED:
        return f" {_RENTED[nation]} gives a rented home 28 days at most from its report, or less if the report says so."
    return ""


def _span(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"


def _words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
