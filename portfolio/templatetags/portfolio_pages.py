"""Small helps for templates: shapes and words only, no decisions."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms, template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from portfolio import words
from portfolio.selectors.naming import RoomName, room_names

register = template.Library()

STATE = {"met": "met", "not_met": "not met", "unknown": "not known", "not_applicable": "does not apply"}
DUTY = {"open": "to do", "done": "done", "late": "late"}
BASIS = {
    "text": "from the text",
    "interpretation": "our reading",
    "memory": "from memory",
    "house_policy": "house policy",
}
BASIS_MEANS = {
    "text": "The words of the law itself say this.",
    "interpretation": "The law can be read in more than one way; this is how we read it.",
    "memory": "Not yet checked against the text of the law.",
    "house_policy": "Not law: a rule this house has set itself.",
}


@register.filter
def is_choice_list(field: Any) -> bool:
    return isinstance(field.field.widget, forms.RadioSelect | forms.CheckboxSelectMultiple)


@register.filter
def is_checkbox(field: Any) -> bool:
    return isinstance(field.field.widget, forms.CheckboxInput)


@register.filter
def day(value: date | None) -> str | SafeString:
    """A day in words for reading, in ISO for machines; nothing for None."""
    if value is None:
        return ""
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), f"{value:%-d %b %Y}")


@register.filter
def yes_no(value: bool | None) -> str:
    return "not recorded" if value is None else "yes" if value else "no"


@register.filter
def word(code: str | None, table: str) -> str:
    """The plain English of a stored code, by the name of its table in `portfolio.words`."""
    return "not recorded" if code in (None, "") else getattr(words, table).get(code, code)


@register.filter
def rooms_named(rooms: Iterable[Any]) -> list[tuple[Any, RoomName]]:
    """Each room of one home with what it is called."""
    listed = list(rooms)
    return list(zip(listed, room_names(listed), strict=True))


@register.inclusion_tag("portfolio/_state.html")
def state(code: str) -> dict[str, str]:
    """A requirement's state: its word behind its shape."""
    return {"code": code, "said": STATE[code]}


@register.inclusion_tag("portfolio/_duty.html")
def duty(code: str) -> dict[str, str]:
    """A duty's state: its word behind its shape."""
    shape = {"done": "met", "late": "not_met"}.get(code, "warn")
    return {"code": code, "shape": shape, "said": DUTY[code]}


@register.simple_tag
def duty_words(code: str) -> str:
    return DUTY[code]


@register.simple_tag
def basis(code: str) -> SafeString:
    """How sure we are of a value: the mark put beside each source. A source that is house policy says so itself."""
    if code == "house_policy":
        return SafeString("")
    return format_html('<span class="basis" title="{}">{}</span>', BASIS_MEANS[code], BASIS[code])


@register.filter
def plainly(says: str) -> str:
    """A reason without the name of the field it lacks."""
    return words.plainly(says)


@register.filter
def cell(place: str, sheet: str) -> str:
    """The address of a cell without the name of the only sheet that is read."""
    return place.removeprefix(f"{sheet}!")


@register.filter
def at(names: dict[str, str], ref: str | None) -> str:
    """The plain words of a ref, else the ref itself."""
    return "" if ref is None else names.get(ref, ref)


@register.filter
def thing(names: dict[str, str], ref: str) -> str:
    """The plain words of a ref, or of a kind of paper where a part of a requirement is asked for by its kind."""
    return names.get(ref) or words.CERTIFICATE.get(ref, ref)


@register.filter
def latest(days: Iterable[date]) -> date | None:
    return max(days, default=None)


@register.simple_tag
def dangers(defects: Iterable[Any]) -> dict[str, bool]:
    """Which cautions the open defects call for; empty when none does."""
    codes = {(defect.scheme, defect.code) for defect in defects}
    found = {
        "electric": ("bs7671", "C1") in codes,
        "gas": ("igem_g11", "ID") in codes,
        "other": bool(codes & {("other", "danger"), ("damp_mould", "emergency"), ("fire", "intolerable")}),
    }
    return found if any(found.values()) else {}


@register.simple_tag
def defects_in(rows: Iterable[Any]) -> list[Any]:
    """The defects of rows that carry one each."""
    return [row.defect for row in rows]
