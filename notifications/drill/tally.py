"""What came of a drill: the figures, and every promise that was not kept."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from notifications.drill.office import Delivery
from notifications.words import FAILED, SENT


@dataclass(frozen=True, slots=True)
class Row:
    """What our own record says of one message."""

    reader: str
    message_id: str
    state: str
    lost: int
    keeps_link: bool
    follows: bool = False
    counted: int = 0
    """How often what follows was recorded."""


@dataclass(frozen=True, slots=True)
class Tally:
    figures: Mapping[str, int]
    faults: Sequence[str]


def tally(rows: Sequence[Row], deliveries: Mapping[str, Sequence[Delivery]], refused: set[str]) -> Tally:
    """Compare the record with what the mail server saw. `refused`: readers whose mail it never takes."""
    figures: Counter[str] = Counter()
    faults = []
    for row in rows:
        came = deliveries.get(row.reader, [])
        faults += [f"{row.reader}: {fault}" for fault in _faults(row, came, row.reader in refused)]
        figures["messages"] += 1
        figures["delivered"] += bool(came)
        figures["refused for good"] += row.state == FAILED
        figures["unclear for a while"] += row.lost > 0
        figures["sent, with something that follows"] += row.follows and row.state == SENT
        figures["recorded what follows"] += row.counted
        figures["delivered more than once"] += len(came) > 1
        for one in came[:-1]:
            why = "the mail server dropped it after taking it" if one.dropped else "the sender was gone first"
            figures[f"… as the answer was lost: {why}"] += 1
    strangers = deliveries.keys() - {row.reader for row in rows}
    faults += [f"{reader}: delivered, but never written" for reader in sorted(strangers)]
    return Tally(figures, faults)


def _faults(row: Row, came: Sequence[Delivery], refused: bool) -> list[str]:
    found = {
        "never delivered": not refused and not came,
        "delivered though the mail server refuses it": refused and bool(came),
        f"recorded as {row.state}": row.state != (FAILED if refused else SENT),
        "sent again although the answer was known": any(one.known for one in came[:-1]),
        "delivered twice, but never recorded as unclear": len(came) - 1 > row.lost,
        "delivered under another Message-ID": any(one.message_id != row.message_id for one in came),
        "delivered with other words the second time": len({one.digest for one in came}) > 1,
        "delivered without its link": not all(one.with_link for one in came),
        "what follows was not recorded": row.follows and row.state == SENT and row.counted == 0,
        "what follows was recorded more than once": row.counted > 1,
        "something was recorded that does not follow": row.counted > 0
        and not (row.follows and row.state == SENT and came),
        "its link is still kept": row.keeps_link and row.state == SENT,
    }
    return [what for what, so in found.items() if so]
