"""What to do next about a reason or a duty: words for a link, and the page where it is done."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.urls import reverse

from portfolio import words
from portfolio.law import model as law
from portfolio.models import Unit
from portfolio.selectors.missing import UNIT

PAPER_FOR = {
    **dict.fromkeys(("eng_eicr", "wal_eicr", "sco_eicr", "ni_eicr", "ni_hmo_wiring"), "eicr"),
    **dict.fromkeys(("eng_hmo_management", "wal_hmo_management", "house_failed_report"), "eicr"),
    **dict.fromkeys(("gb_gas_check", "ni_gas_check", "house_margin"), "gas_safety_record"),
    **dict.fromkeys(("ew_epc", "sco_epc", "ni_epc", "ew_mees", "house_band"), "epc"),
    **dict.fromkeys(("eng_hmo_licence", "wal_hmo", "sco_hmo", "ni_hmo"), "hmo_licence"),
    **dict.fromkeys(
        ("wal_registration", "sco_registration", "ni_registration", "eng_prs_database"), "landlord_registration"
    ),
    **dict.fromkeys(("sco_pat", "eng_eicr_equipment_social"), "pat"),
    "sco_home_report": "home_report",
    "eng_fra": "fire_risk_assessment",
    "eng_fire_doors_11m": "fire_door_check_common",
    "eng_residential_peeps": "evacuation_plan",
    **dict.fromkeys(("gb_lift_loler", "ni_lift"), "lift_examination"),
    "gb_emergency_lighting": "emergency_lighting_test",
    "gb_fire_alarm_service": "fire_alarm_service",
    **dict.fromkeys(("gb_asbestos_common_parts", "ni_asbestos"), "asbestos_register"),
    "gb_legionella": "legionella_assessment",
    **dict.fromkeys(
        ("eng_building_work", "wal_building_work", "sco_building_work", "ni_building_work"),
        "building_work_notice",
    ),
}  # fmt: skip
"""The kind of paper that answers a requirement."""
FACTS_FOR = {
    **dict.fromkeys(("eng_alarms", "wal_alarms", "sco_alarms", "ni_alarms", "house_alarm_test"), "alarms"),
    "sco_rcd": "id_home-main_board_rcd_30ma",
}
"""The part of the page of facts where a requirement is answered."""
NOT_HERE = frozenset(
    {
        "house_danger", "eng_hhsrs", "wal_hhsrs", "sco_damp", "eng_awaab_social", "eng_deposit",
        "wal_deposit", "sco_deposit", "ni_deposit", "eng_written_terms", "wal_written_statement",
        "ni_tenancy_information", "eng_right_to_rent",
    }
)  # fmt: skip
"""Requirements answered by no one paper or fact, but by defects, acts and duties, to which their reasons lead."""
MADE_BY_CONTRACTORS = frozenset(
    {
        "eicr", "gas_safety_record", "epc", "pat", "home_report", "fire_risk_assessment", "fire_door_check_common",
        "lift_examination", "emergency_lighting_test", "fire_alarm_service", "asbestos_register",
        "legionella_assessment",
    }
)  # fmt: skip
"""Kinds of paper that somebody comes to make; licences, registrations and notices come from elsewhere."""
OF_DOORS = "entrance door"
MARGIN_OF = {"electrical report": "eicr", "energy certificate": "epc"}
"""The kind of paper to renew early, by what a reason of the house margin calls it; else the gas record."""


@dataclass(frozen=True, slots=True)
class Way:
    """How a duty is closed: by an act, by adding a paper, by what is recorded of a defect, or in the facts."""

    act: str = ""
    paper: str = ""
    defects: bool = False
    facts: str = ""


_COPY, _CONFIRM, _BEGIN, _DEFECT = (
    Way(act="copy_given"), Way(act="confirmation_given"), Way(act="work_started"), Way(defects=True),
)  # fmt: skip
WAYS: dict[str, Way] = {
    **dict.fromkeys(("copy_to_tenant", "copy_to_prospect", "copy_to_council", "summary"), _COPY),
    **dict.fromkeys(("report_to_council", "gas_to_council"), _COPY),
    **dict.fromkeys(("confirm_to_tenant", "confirm_to_council", "remedial_notice"), _CONFIRM),
    **dict.fromkeys(("start_work", "further_work"), _BEGIN),
    **dict.fromkeys(("safety_work", "make_safe", "remedial_work"), _DEFECT),
    "investigate": Way(act="investigated"),
    "protect": Way(act="deposit_protected"),
    "inform": Way(act="deposit_information_given"),
    "give": Way(act="terms_given"),
    "check": Way(act="right_to_rent_checked"),
    "certificate": Way(paper="building_work_notice"),
    **dict.fromkeys(("within_7_days", "within_28_days"), Way(paper="epc")),
    "test_on_start": Way(facts="alarms"),
    "eng_eicr_equipment_social.make_safe": Way(act="work_completed"),
}
"""By the name of a duty, or by its whole id where one of them is closed in another way than its namesakes."""
COPIES = {
    **dict.fromkeys(
        ("copy_to_tenant", "copy_to_prospect", "copy_to_council", "report_to_council", "gas_to_council"),
        "Send a copy",
    ),
    "confirm_to_council": "Send it with the proof",
}
"""Duties that a paper sent by e-mail can answer, and the words of the link. A written summary is no paper."""


@dataclass(frozen=True, slots=True)
class Step:
    """What to do next: words for a link, its address, and what a role must be allowed to follow it."""

    says: str
    url: str
    needs: str


@dataclass(frozen=True, slots=True)
class Spoken:
    """The home that reasons speak of: plain words for each ref in it, and the ids of its papers by ref."""

    unit: Unit
    names: Mapping[str, str]
    papers: Mapping[str, int]
    renewals: Mapping[tuple[str, str], str] = field(default_factory=dict)
    """Who was asked to renew what, and when, by requirement and last good day (ISO)."""


def way_of(duty_id: str) -> Way:
    """How a duty is closed; an empty way when nobody has said."""
    return WAYS.get(duty_id) or WAYS.get(duty_id.rpartition(".")[2]) or Way()


def step_for_duty(duty: law.Duty, unit: Unit) -> Step | None:
    """Where it is recorded that a duty is done; None when it is done."""
    way = way_of(duty.id)
    if duty.state is law.DutyState.DONE:
        return None
    if way.act:
        asked = {"what": way.act, "of": duty.of or "", "party": duty.party or ""}
        return Step("Record that it was done", _to("act_add", unit, asked), "edit_home")
    if way.paper:
        return _add(way.paper, unit)
    if way.defects:
        return Step("See the defects", _to("defects", unit), "see")
    if way.facts:
        return Step("Record the test", f"{_to('home_facts', unit)}#{way.facts}", "edit_home")
    return None


def step_to_send(duty_id: str, of: str, party: str, unit: Unit) -> Step | None:
    """Where a copy of the paper that a duty is about can be sent by e-mail; None where it asks for no such copy."""
    name = duty_id.rpartition(".")[2]
    if not of or not party or name not in COPIES:
        return None
    return Step(COPIES[name], _to("papers_send", unit, {"of": of, "party": party}), "send_papers")


def step_to_renew(code: str, unit: Unit) -> Step | None:
    """Where a contractor is asked to come and renew what answers a requirement; None where no contractor does."""
    if PAPER_FOR.get(code) not in MADE_BY_CONTRACTORS or code.startswith("house_"):
        return None
    return Step("Ask a contractor", _to("renewal_ask", unit, {"code": code}), "send_job")


def step_for(reason: law.Reason, home: Spoken) -> Step | None:
    """What would lift a reason, and where; None when it cannot be done on any page."""
    unit = home.unit
    if reason.kind == "danger":
        return Step("See the defects", _to("defects", unit), "see")
    if reason.kind == "late":
        return Step("See what is due", f"{reverse('home', args=[unit.pk])}#duties", "see")
    if reason.kind == "prohibited":
        asked = {"what": "prohibition_lifted", "of": reason.of or "", "party": "council"}
        return Step("Record that it was lifted", _to("act_add", unit, asked), "edit_home")
    if reason.kind == "unknown":
        return _record(reason, home)
    if reason.requirement in PAPER_FOR:
        return _add(_paper_for(reason), unit)
    if place := FACTS_FOR.get(reason.requirement):
        said = "Change the alarms" if place == "alarms" else "Change the facts"
        return Step(said, f"{_to('home_facts', unit)}#{place}", "edit_home")
    return None


def _paper_for(reason: law.Reason) -> str:
    if "selective" in reason.says:
        return "selective_licence"
    if reason.requirement == "eng_fire_doors_11m" and OF_DOORS in reason.says:
        return "fire_door_check_flat"
    if reason.requirement == "house_margin":
        named = (kind for words_for, kind in MARGIN_OF.items() if words_for in reason.says)
        return next(named, PAPER_FOR["house_margin"])
    return PAPER_FOR[reason.requirement]


def _add(kind: str, unit: Unit) -> Step:
    says = f"Add: {words.CERTIFICATE[kind]}"
    return Step(says, _to("certificate_add", unit, {"kind": kind}), "add_certificate")


def _to(name: str, unit: Unit, asked: Mapping[str, str] | None = None) -> str:
    url = reverse(name, args=[unit.pk])
    return f"{url}?{urlencode(asked)}" if asked else url


ADDED = {"tenancies": "tenancy_add", "marketing": "marketing_add", "events": "act_add"}
"""Lists that grow on a page of their own."""


def _record(reason: law.Reason, home: Spoken) -> Step | None:
    """Where a missing fact can be recorded; the reason names it in brackets, as in "(letting.kind)"."""
    unit, paper = home.unit, home.papers.get(reason.of or "")
    fact = reason.says.rpartition("(")[2].partition(")")[0]
    part = fact.partition(".")[0]
    if fact == "defects":
        return Step("Record it", _to("defects", unit), "see")
    if fact == "certificates":
        return Step("Record it", _to("certificate_add", unit), "add_certificate")
    if part in ADDED:
        return Step("Record it", _to(ADDED[part], unit), "edit_home")
    if paper is not None:
        return Step("Complete the paper", reverse("certificate_correct", args=[paper]), "correct_certificate")
    anchor = f"id_building-{fact}"
    if fact in UNIT:
        anchor = f"id_home-{UNIT[fact]}"
    elif part in ("rooms", "appliances", "alarms"):
        anchor = part
    return Step("Record it", f"{_to('home_facts', unit)}#{anchor}", "edit_home")
