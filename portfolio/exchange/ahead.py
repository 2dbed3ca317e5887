"""The months after an answer, out of the answer itself: what lapses, what falls due, how many homes stop being clear.

Nothing more is taken to be recorded in those months. Days are text in ISO form, as in the answer.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

MOST_MONTHS = 120


def months_ahead(said: dict[str, Any], count: int) -> list[dict[str, Any]]:
    """`count` months from the month of the answer's day on, which counts from that day.

    `lapses` are papers whose last good day is in the month, by requirement; `stops` are homes whose last clear day
    is, by ref; `still_clear` how many are clear when it is over.
    """
    still = {purpose: sum(unit[purpose]["clear"] for unit in said["units"]) for purpose in ("let", "sale")}
    found = []
    for month in _months(said["on"], count):
        lapses: Counter[str] = Counter()
        stops: dict[str, list[str]] = {"let": [], "sale": []}
        duties = 0
        for unit in said["units"]:
            lapses.update(
                one["id"]
                for one in unit["requirements"]
                if one["state"] == "met" and _falls(one["due"], month, said)
            )
            duties += sum(
                one["state"] != "done" and _falls(one["due"], month, said) for one in unit["duties"]
            )
            for purpose, refs in stops.items():
                if unit[purpose]["clear"] and _falls(unit[purpose]["until"], month, said):
                    refs.append(unit["ref"])
        still = {purpose: still[purpose] - len(refs) for purpose, refs in stops.items()}
        found.append(
            {"month": month, "lapses": dict(lapses), "duties": duties, "stops": stops, "still_clear": still}
        )
    return found


def _falls(day: str | None, month: str, said: dict[str, Any]) -> bool:
    return day is not None and day >= said["on"] and day.startswith(month)


def _months(day: str, count: int) -> Iterator[str]:
    first = int(day[:4]) * 12 + int(day[5:7]) - 1
    for number in range(first, first + count):
        yield f"{number // 12:04}-{number % 12 + 1:02}"


def ahead_table(months: list[dict[str, Any]]) -> str:
    """The same in words: a row for each month."""
    heads = (
        "Month  ",
        "Papers lapse",
        "Duties due",
        "Last clear day: let",
        "sale",
        "Still clear: let",
        "sale",
    )
    lines = ["", "If nothing more is recorded:", "", "  ".join(heads)]
    for one in months:
        cells = (
            one["month"], sum(one["lapses"].values()), one["duties"], len(one["stops"]["let"]),
            len(one["stops"]["sale"]), one["still_clear"]["let"], one["still_clear"]["sale"],
        )  # fmt: skip
        row = "  ".join(str(cell).rjust(len(head)) for cell, head in zip(cells, heads, strict=True))
        lines.append(row)
    return "\n".join(lines) + "\n"
