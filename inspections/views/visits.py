"""A visit: its page, the one address where everything said on it arrives, and what keeps it going without a network."""

from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inspections.catalogue import typical
from inspections.cautions import cautions
from inspections.forms.visits import EndForm, FoundForm, LookForm, PhotoForm, RoomForm
from inspections.models import Defect, Visit
from inspections.selectors.visit_hints import hints
from inspections.selectors.visits import (
    RoomSaid,
    VisitSaid,
    known_before,
    state_of,
    visit_said,
    visits_of,
    words_of,
)
from inspections.services import visits as service
from inspections.services.competence import competent_for
from inspections.services.defects import NotAllowed
from inspections.views.evidence import files_from
from portfolio import access, clock, words
from portfolio.models import Room
from portfolio.selectors.naming import room_called
from portfolio.views.home import unit_or_404

WORKER = Path(__file__).resolve().parent.parent / "static" / "inspections" / "visit-worker.js"
LEVELS = [(level, words.room("hall", level, "").partition(", ")[2].capitalize()) for level in range(-1, 6)]
FOR = "X-Visit-For"
"""Tells the worker of the browser for whom a page was made, so that it keeps none for anybody else."""


class Refused(Exception):
    """What was sent is not taken. `form` says why and is shown again where it can be."""

    def __init__(self, form: Any, status: int) -> None:
        super().__init__()
        self.form, self.status = form, status

    def says(self) -> str:
        return " ".join(str(error) for errors in self.form.errors.values() for error in errors)


@require_safe
def visits(request: HttpRequest, pk: int) -> HttpResponse:
    """The visits of a home, and the way to begin one."""
    unit = unit_or_404(request, pk)
    page = {"home": unit, "rows": visits_of(unit), "key": uuid4()}
    return render(request, "inspections/visits.html", page)


@require_POST
def visit_begin(request: HttpRequest, pk: int) -> HttpResponse:
    unit = unit_or_404(request, pk, to="record_defect")
    try:
        key = UUID(request.POST.get("key", ""))
        visit = service.visit_begin(unit.pk, key=key, actor=request.user, moment=clock.moment())
    except (ValueError, ValidationError) as wrong:
        says = wrong.messages if isinstance(wrong, ValidationError) else ["Load the page again."]
        messages.error(request, " ".join(says))
        return redirect("visits", pk=unit.pk)
    return redirect("visit", pk=visit.key)


@require_safe
@never_cache
def visit(request: HttpRequest, pk: UUID) -> HttpResponse:
    return _page(request, _visit_or_404(request, pk, to="see"))


@require_safe
@never_cache
def visit_state(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What the server has of a visit, and a fresh token with which more of it can be sent."""
    visit = _visit_or_404(request, pk)
    return JsonResponse({**_state(request, visit_said(visit)), "csrf": get_token(request)})


@require_POST
def visit_record(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Takes whatever is said on a visit, told apart by `what`; answers a script in JSON and a form with a page."""
    visit = _visit_or_404(request, pk)
    take = TAKES.get(request.POST.get("what", ""), _unknown)
    for_script = request.headers.get("Accept", "").startswith("application/json")
    try:
        says, where = take(request, visit)
    except Refused as refused:
        if for_script:
            return JsonResponse({"error": refused.says()}, status=refused.status)
        return _page(request, visit, refused=refused)
    if for_script:
        return JsonResponse({"kept": says, "late": _late(visit)})
    messages.success(request, says)
    return redirect(reverse("visit", args=[visit.key]) + where)


@require_safe
@never_cache
def visit_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps the page of a visit for when there is no network. At the root, to see log-outs."""
    access.require(request.user, "record_defect")
    answer = HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
    answer["Service-Worker-Allowed"] = "/"
    return answer


def _defect(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = _found_form(request, visit, data=request.POST, files=request.FILES)

    def record() -> Defect:
        photos = files_from(request, "photo", "photos")
        return service.found_record(
            visit.pk, **form.recorded(), photos=photos, actor=request.user, moment=clock.moment()
        )

    defect = _kept(form, record)
    there = f"#room-{defect.room_id or 0}"
    where = f"?just={defect.pk}#now" if _now(visit, defect) else there
    return f"Recorded: {defect.title} ({words.CODE[defect.code]}).", where


def _photo(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = PhotoForm(request.POST)

    def record() -> Any:
        files = files_from(request, "photo")
        if len(files) != 1:
            raise ValidationError("Send one photo at a time.")
        said = form.cleaned_data
        return service.photo_add(
            visit.pk, key=said["key"], defect_key=said["defect"], accepted=files[0], actor=request.user,
            moment=clock.moment(),
        )  # fmt: skip

    _kept(form, record)
    return "Photo kept.", ""


def _look(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = LookForm(request.POST, unit=visit.unit)
    look = _kept(
        form,
        lambda: service.look_record(visit.pk, **form.recorded(), actor=request.user, moment=clock.moment()),
    )
    where = room_called(look.room) if look.room else "elsewhere in the home"
    return f"Kept: {look.get_what_display().lower()}, {where}.", f"#room-{look.room_id or 0}"


def _room(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = RoomForm(request.POST)
    room = _kept(
        form,
        lambda: service.room_add(visit.pk, **form.recorded(), actor=request.user, moment=clock.moment()),
    )
    return f"Added: {room_called(room)}.", f"#room-{room.pk}"


def _end(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = EndForm(request.POST)

    def record() -> Visit:
        said = form.cleaned_data
        if not said["sure"] and visit.ended_at is None and service.silent_rooms(visit):
            raise NotAllowed("Nothing is said yet of some rooms.")
        return service.visit_end(
            visit.pk, says=said["says"], all_rooms=said["all_rooms"], actor=request.user,
            moment=clock.moment(),
        )  # fmt: skip

    _kept(form, record)
    return "The visit has ended.", ""


def _unknown(request: HttpRequest, visit: Visit) -> tuple[str, str]:
    form = forms.Form({})
    form.add_error(None, "Load the page again: what was sent does not say what it is.")
    raise Refused(form, HTTPStatus.BAD_REQUEST)


TAKES: dict[str, Callable[[HttpRequest, Visit], tuple[str, str]]] = {
    "defect": _defect, "photo": _photo, "look": _look, "room": _room, "end": _end,
}  # fmt: skip
"""By what is sent: keeps it, and gives what to say of it and where on the page it shows."""


def _kept(form: Any, record: Callable[[], Any]) -> Any:
    """What the service keeps of a form. Raises Refused, with the reason in the form."""
    if not form.is_valid():
        raise Refused(form, HTTPStatus.BAD_REQUEST)
    try:
        return record()
    except ValidationError as wrong:
        named = getattr(wrong, "error_dict", {}).keys() <= form.fields.keys()
        form.add_error(None, wrong if named else wrong.messages)
        raise Refused(form, HTTPStatus.BAD_REQUEST) from wrong
    except NotAllowed as wrong:
        form.add_error(None, str(wrong))
        raise Refused(form, HTTPStatus.CONFLICT) from wrong


def _late(visit: Visit) -> str:
    """What somebody is told whose record came after somebody else had ended the visit."""
    if visit.ended_at is None:
        return ""
    return f"{visit.ended_by} ended this visit on {words_of(visit.ended_at)}. What you had was added to it."


def _page(request: HttpRequest, visit: Visit, *, refused: Refused | None = None) -> HttpResponse:
    """The visit's page, where somebody may add to it with its forms; otherwise what it says."""
    said = visit_said(visit)
    may_add = access.may(request.user, "record_defect")
    page: dict[str, Any] = {
        "home": visit.unit, "visit": visit, "said": said, "open": may_add and visit.ended_at is None,
        "scripted": may_add, "refused": refused and refused.form, "ask_end": False,
    }  # fmt: skip
    if page["open"]:
        page["known"] = known_before(visit)
    if may_add:
        page |= _forms(request, visit, refused.form if refused else None)
        page |= {
            "state": _state(request, said), "hints": hints(visit.unit.building.nation),
            "typical": typical().values(), "uses": words.ROOM_USE, "just": _just(request, visit),
            "blank": RoomSaid(Room(unit=visit.unit, ref=""), ""),
        }  # fmt: skip
        page |= {"levels": LEVELS, "level": _only_level(said)}
    answer = render(request, "inspections/visit.html", page, status=refused.status if refused else 200)
    answer[FOR] = str(request.user.pk)
    return answer


def _state(request: HttpRequest, said: VisitSaid) -> dict[str, Any]:
    return {**state_of(said), "user": request.user.pk, "at": clock.moment().at.isoformat()}


def _forms(request: HttpRequest, visit: Visit, bound: Any) -> dict[str, Any]:
    """The forms of the page, one of them perhaps as it came back."""
    is_end = isinstance(bound, EndForm)
    return {
        "form": bound if isinstance(bound, FoundForm) else _found_form(request, visit),
        "end_form": bound if is_end else EndForm(),
        "ask_end": is_end and not visit.ended_at,
        "refused": None if is_end else bound,
    }


def _found_form(request: HttpRequest, visit: Visit, **bound: Any) -> FoundForm:
    gas_person = "igem_g11" in competent_for(request.user, clock.today())
    first = {"key": uuid4(), "room": request.GET.get("room", ""), "scheme": "bs7671"}
    return FoundForm(unit=visit.unit, gas_person=gas_person, initial=first, auto_id="add-%s", **bound)


def _just(request: HttpRequest, visit: Visit) -> dict[str, Any] | None:
    """The defect that was just recorded, with what to do now about it."""
    pk = request.GET.get("just", "")
    defect = Defect.objects.filter(visit=visit, pk=pk).first() if pk.isdigit() else None
    return None if defect is None else {"defect": defect, "now": _now(visit, defect)}


def _now(visit: Visit, defect: Defect) -> tuple[str, ...]:
    return cautions(
        scheme=defect.scheme, code=defect.code, trade=defect.trade, suspected=defect.suspected,
        nation=visit.unit.building.nation, typical=defect.typical,
    )  # fmt: skip


def _only_level(said: VisitSaid) -> int | None:
    """The storey a new room is most likely on: that of all others, if they share one."""
    levels = {place.room.level for place in said.rooms if place.room}
    return levels.pop() if len(levels) == 1 else None


def _visit_or_404(request: HttpRequest, pk: UUID, to: str = "record_defect") -> Visit:
    access.require(request.user, to)
    held = Visit.objects.select_related("unit__building", "unit__landlord", "begun_by", "ended_by")
    found: Visit = access.get_or_404(held, request.user, key=pk)
    return found
