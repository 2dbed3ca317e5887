"""Tables: how a row is shown on the page, and what it is in a download."""

from datetime import date
from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from portfolio import words
from portfolio.models import Unit
from portfolio.selectors.board import door

CAN = {"let": ("Can be let", "Cannot be let"), "sale": ("Can be sold", "Cannot be sold")}


class AnswerColumn(tables.Column):
    """Whether a home can be let (or sold), until when, and whether it is marked."""

    def __init__(self, purpose: str, **more: Any) -> None:
        self.purpose = purpose
        super().__init__(accessor="standing", **more)

    def render(self, value: Any, record: Unit, table: "HomesTable") -> SafeString:
        clear, until = getattr(value, f"{self.purpose}_clear"), getattr(value, f"{self.purpose}_until")
        context = {
            "words": CAN[self.purpose][0 if clear else 1],
            "door": door(clear, until, table.day),
            "until": until,
            "marked": getattr(record, f"marked_{self.purpose}"),
            "mark": words.PURPOSE[self.purpose].lower(),
            "other_day": table.asked,
        }
        return render_to_string("portfolio/_answer.html", context)


class HomesTable(tables.Table):
    home = tables.Column(
        accessor="label",
        order_by=("street", "number_length", "building__name", "label_length", "label"),
        empty_values=(),
        verbose_name="Home",
    )
    landlord = tables.Column(accessor="landlord__name", default="not recorded", verbose_name="Landlord")
    let = AnswerColumn("let", order_by=("standing__let_clear", "standing__let_until"), verbose_name="To let")
    sale = AnswerColumn(
        "sale", order_by=("standing__sale_clear", "standing__sale_until"), verbose_name="For sale"
    )
    reason = tables.Column(
        accessor="standing",
        order_by=("standing__let_first", "standing__sale_first"),
        verbose_name="First reason",
    )

    class Meta:
        template_name = "portfolio/_table.html"
        attrs = {"class": "ledger board"}
        empty_text = "No home fits. Widen the choice above."

    def __init__(self, *args: Any, day: date, asked: bool, **more: Any) -> None:
        """`asked`: the day was chosen and is not today, so links keep it."""
        self.day, self.asked = day, asked
        super().__init__(*args, **more)

    def render_home(self, record: Unit) -> SafeString:
        return render_to_string("portfolio/_home_cell.html", {"home": record, "day": self.day, "table": self})

    def render_reason(self, value: Any) -> SafeString:
        return render_to_string("portfolio/_reason_cell.html", {"standing": value})


def first_reason(standing: Any) -> str:
    """The reason against a let, else against a sale, else the first warning, else nothing."""
    if standing.let_clear and not standing.sale_clear:
        return words.plainly(standing.sale_first)
    return words.plainly(standing.let_first or standing.sale_first)


DOWNLOAD_HEADINGS = (
    "Home", "Building", "Postcode", "Ref", "Landlord", "Can be let", "Let until", "Can be sold", "Sale until",
    "First reason", "Marked to let", "Marked for sale",
)  # fmt: skip


def download_row(unit: Any) -> tuple[object, ...]:
    """One home of the board as the cells of a download, under DOWNLOAD_HEADINGS."""
    standing = unit.standing
    return (
        unit.label,
        unit.building.name,
        unit.building.postcode,
        unit.ref,
        unit.landlord.name if unit.landlord else None,
        standing.let_clear,
        standing.let_until,
        standing.sale_clear,
        standing.sale_until,
        first_reason(standing),
        unit.marked_let,
        unit.marked_sale,
    )
