"""The matrix of papers beside what is published, row by row, each with where it stands and how sure we are of it."""

from datetime import date

import pytest

from inspections.paperwork import expected

DAY = date(2026, 11, 25)
P = "Building Regulations 2010 (SI 2010/2214) reg 12(6A) and Approved Document P 2013, from memory"
W = "SI 2010/2214 Sch 4 as it applies in Wales and Approved Document P 2006, from memory"
S = "Building (Scotland) Act 2003 s.8 and SSI 2004/406 Sch 3, from memory: depends on the building"
N = "SR 2012/192 has no electrical part, from memory, not checked for recent years"
L = "Approved Document P: replacement and repair, from memory"
EIC, MW, BC = ("eic",), ("minor_works", "eic"), ("building_work_notice",)
ALARM, NETWORK = ("fire_alarm_service", "other"), ("other",)

ROWS = [
    ("rewire", "living", "england", [EIC, BC], "yes", P),
    ("rewire", "living", "wales", [EIC, BC], "yes", W),
    ("rewire", "living", "scotland", [EIC], "not_known", S),
    ("rewire", "living", "northern_ireland", [EIC], "no", N),
    ("new_circuit", "bedroom", "england", [EIC, BC], "yes", P),
    ("new_circuit", "bedroom", "wales", [EIC, BC], "yes", W),
    ("new_circuit", "bedroom", "northern_ireland", [EIC], "no", N),
    ("consumer_unit", "hall", "england", [EIC, BC], "yes", P),
    ("consumer_unit", "hall", "wales", [EIC, BC], "yes", W),
    ("consumer_unit", "hall", "scotland", [EIC], "not_known", S),
    ("consumer_unit", "hall", "northern_ireland", [EIC], "no", N),
    ("device_swap", "hall", "england", [MW], "no", L),
    ("device_swap", "hall", "scotland", [MW], "no", L),
    ("alteration", "living", "england", [MW], "no", P),
    ("alteration", "living", "wales", [MW], "no", W),
    ("alteration", "living", "northern_ireland", [MW], "no", N),
    ("alteration_several", "living", "england", [("eic", "minor_works")], "no", P),
    ("alteration", "bath_zone", "england", [MW, BC], "yes", P),
    ("alteration", "bath_zone", "wales", [MW, BC], "yes", W),
    ("alteration", "bath_zone", "northern_ireland", [MW], "no", N),
    ("alteration", "bathroom_clear", "england", [MW], "no", P),
    ("alteration", "bathroom_clear", "wales", [MW, BC], "yes", f"{W} and not sure"),
    ("alteration", "bathroom", "england", [MW], "not_known", P),
    ("alteration", "kitchen", "england", [MW], "no", P),
    ("alteration", "kitchen", "wales", [MW, BC], "yes", W),
    ("alteration", "outdoor", "england", [MW], "no", P),
    ("alteration", "outdoor", "wales", [MW, BC], "yes", W),
    ("outdoor_circuit", "outdoor", "england", [EIC, BC], "yes", P),
    ("ev_charger", "outdoor", "england", [EIC, NETWORK, BC], "yes", f"{P}; network operator's notice from memory"),
    ("generation", "outdoor", "northern_ireland", [EIC, NETWORK], "no", "G98 and G99; SR 2012/192, from memory"),
    ("accessory_swap", "kitchen", "england", [], "no", L),
    ("accessory_swap", "bath_zone", "wales", [], "no", L),
    ("cable_repair", "kitchen", "england", [MW], "no", L),
    ("bonding_earthing", "store", "england", [MW], "no", P),
    ("bonding_earthing", "store", "wales", [MW], "no", W),
    ("rcd_added", "hall", "england", [MW], "no", P),
    ("electric_heating", "living", "england", [EIC, BC], "yes", P),
    ("alarms_existing_circuit", "landing", "england", [MW, ALARM], "no", f"{P}; BS 5839-6, from memory"),
    ("alarms_new_circuit", "landing", "england", [EIC, ALARM, BC], "yes", f"{P}; BS 5839-6, from memory"),
    ("extract_fan", "bathroom_clear", "england", [MW, ("other",)], "not_known", "SI 2010/2214 Part F, from memory"),
    ("extract_fan", "bath_zone", "england", [MW, ("other",), BC], "yes", f"{P}; Part F, from memory"),
    ("extract_fan", "kitchen", "scotland", [MW], "not_known", S),
    ("gas_appliance", "kitchen", "england", [("other", "gas_safety_record"), BC], "yes",
     "SI 2010/2214 regs 12, 20, Sch 3, from memory"),
    ("gas_appliance", "kitchen", "wales", [("other", "gas_safety_record"), BC], "yes",
     "SI 2010/2214 regs 12, 20, Sch 3, from memory"),
    ("gas_appliance", "kitchen", "scotland", [("other", "gas_safety_record")], "not_known", S),
    ("gas_appliance", "kitchen", "northern_ireland", [("other", "gas_safety_record")], "not_known",
     "SR 2012/192, from memory"),
    ("gas_repair", "kitchen", "england", [("other", "gas_safety_record")], "no",
     "Gas Safety (Installation and Use) Regulations 1998 (SI 1998/2451) reg 26(9), from memory"),
    ("gas_check", "kitchen", "scotland", [("gas_safety_record",)], "no",
     "Gas Safety (Installation and Use) Regulations 1998 (SI 1998/2451) reg 36, from memory"),
    ("oil_appliance", "utility", "england", [("other",), BC], "yes", "SI 2010/2214 Sch 3, from memory"),
    ("solid_fuel", "living", "wales", [("other",), BC], "yes", "SI 2010/2214 Sch 3, Part J, from memory"),
    ("chimney_sweep", "living", "england", [("other",)], "no", "common practice, no source"),
    ("unvented_cylinder", "store", "england", [("other",), BC], "yes", "SI 2010/2214 Sch 1 G3, from memory"),
    ("fire_alarm_system", "hall", "england", [ALARM], "not_known", "BS 5839-6, grade A, from memory"),
    ("fire_door", "hall", "england", [("fire_door_check_flat", "fire_door_check_common", "other")], "not_known",
     "common practice, no source"),
    ("fire_stopping", "hall", "scotland", [("other",)], "not_known", "common practice, no source"),
    ("asbestos_survey", "hall", "england", [("asbestos_register", "other")], "no",
     "Control of Asbestos Regulations 2012 (SI 2012/632), from memory"),
    ("asbestos_removal", "hall", "england", [("other",)], "not_known", "SI 2012/632 regs 8 and 9, from memory"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("work", "place", "nation", "asked", "notifiable", "source"),
    ROWS,
    ids=["-".join(row[:3]) for row in ROWS],
)
def test_each_row_of_the_matrix(
    work: str, place: str, nation: str, asked: list[tuple[str, ...]], notifiable: str, source: str
) -> None:
    found = expected(work, place=place, nation=nation, on=DAY)
    assert [ask.kinds for ask in found.asked] == asked, source
    assert found.notifiable == notifiable, source


@pytest.mark.parametrize(
    ("work", "place", "nation", "on", "notifiable"),
    [
        ("alteration", "kitchen", "england", date(2013, 4, 5), "yes"),
        ("alteration", "kitchen", "england", date(2013, 4, 6), "no"),
        ("alteration", "kitchen", "england", date(2013, 4, 7), "no"),
        ("alteration", "outdoor", "england", date(2013, 4, 5), "yes"),
        ("alteration", "outdoor", "england", date(2013, 4, 6), "no"),
        ("alteration", "bathroom", "england", date(2013, 4, 5), "yes"),
        ("alteration", "bathroom", "england", date(2013, 4, 6), "not_known"),
        ("alteration", "bath_zone", "england", date(2013, 4, 5), "yes"),
        ("alteration", "bath_zone", "england", date(2013, 4, 6), "yes"),
        ("alteration", "kitchen", "wales", date(2013, 4, 6), "yes"),
        ("consumer_unit", "hall", "england", date(2013, 4, 5), "yes"),
        ("consumer_unit", "hall", "england", date(2013, 4, 6), "yes"),
        ("new_circuit", "hall", "wales", date(2004, 12, 31), "no"),
        ("new_circuit", "hall", "wales", date(2005, 1, 1), "yes"),
        ("alteration", "kitchen", "england", date(2004, 12, 31), "no"),
        ("alteration", "kitchen", "england", date(2005, 1, 1), "yes"),
        ("gas_appliance", "kitchen", "england", date(2005, 3, 31), "not_known"),
        ("gas_appliance", "kitchen", "england", date(2005, 4, 1), "yes"),
    ],
)
def test_the_days_on_which_the_law_turned(
    work: str, place: str, nation: str, on: date, notifiable: str
) -> None:
    """England's list was cut on 6 April 2013 (reg 12(6A)), Wales kept the old one; Part P began on 1 January 2005. From
    memory, the start for boilers too."""
    assert expected(work, place=place, nation=nation, on=on).notifiable == notifiable


def test_thirty_days_for_the_certificate_and_five_for_telling_a_third_party() -> None:
    """SI 2010/2214 reg 20(3), seen: 30 days. The third party's 5 days, England from 6 April 2013: from memory."""
    england = expected("new_circuit", place="hall", nation="england", on=DAY)
    assert [ask.within_days for ask in england.asked if ask.kinds == BC] == [30]
    assert len(england.routes) == 3
    assert "within 5 days" in england.routes[1]
    for nation, on in (("england", date(2013, 4, 5)), ("wales", DAY)):
        routes = expected("new_circuit", place="hall", nation=nation, on=on).routes
        assert len(routes) == 2
        assert not [one for one in routes if "5 days" in one]


def test_who_may_sign() -> None:
    """BS 7671 644: three signatures, which may be one person's; from memory. Gas Safety Regulations 1998 reg 3."""
    assert (
        "one skilled person may be all three"
        in expected("rewire", place=None, nation=None, on=DAY).asked[0].who
    )
    assert (
        expected("alteration", place=None, nation=None, on=DAY).asked[0].who.startswith("one skilled person")
    )
    for work in ("gas_appliance", "gas_repair", "gas_check"):
        assert (
            expected(work, place=None, nation=None, on=DAY).asked[0].who == "an engineer registered for gas"
        )


def test_the_copy_of_a_gas_record_has_28_days() -> None:
    """Gas Safety (Installation and Use) Regulations 1998 reg 36(6)(a), from memory."""
    assert expected("gas_check", place=None, nation="wales", on=DAY).asked[0].within_days == 28
