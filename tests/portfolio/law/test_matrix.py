"""What stops a let or a sale, cell by cell: one complete home placed in four nations, one thing changed at a time.

Each row says what was changed, the day, and which requirements bar in which nation; a nation not named is clear.
"""

from datetime import date
from typing import Any, NamedTuple

import pytest

from portfolio.law.model import NATIONS

from .nations import ALARMS, PAPERS, TODAY, Facts, standing_in

DAY_BEFORE, DAY_AFTER = date(2026, 11, 24), date(2026, 11, 26)
EVERYWHERE = {"england": "eng", "wales": "wal", "scotland": "sco", "northern_ireland": "ni"}


def each(topic: str, **instead: str) -> dict[str, str]:
    """`eng_eicr`, `wal_eicr` and so on; or the ids given for single nations."""
    return {nation: f"{short}_{topic}" for nation, short in EVERYWHERE.items()} | instead


def only(wanted: dict[str, str], *nations: str) -> dict[str, str]:
    return {nation: wanted[nation] for nation in nations}


GAS = dict.fromkeys(("england", "wales", "scotland"), "gb_gas_check") | {"northern_ireland": "ni_gas_check"}
EPC = {"england": "ew_epc", "wales": "ew_epc", "scotland": "sco_epc", "northern_ireland": "ni_epc"}
EICR, ALARM = each("eicr"), each("alarms")
HMO = each("hmo", england="eng_hmo_licence")
BAND = dict.fromkeys(("england", "wales"), "ew_mees")
REGISTERED = each("registration")


class Row(NamedTuple):
    """`let` and `sale` name what bars; `warns` what is warned of for a let."""

    name: str
    changes: Facts
    let: dict[str, str] = {}
    sale: dict[str, str] = {}
    on: date = TODAY


def papers(*changed: Facts) -> Facts:
    return {"papers": list(changed)}


def eicr(**facts: Any) -> Facts:
    return papers({"ref": "e", "kind": "eicr", "outcome": "satisfactory"} | facts)


def gas(*days: str, result: str = "safe") -> Facts:
    return papers(
        *(
            {
                "ref": f"g{n}", "kind": "gas_safety_record", "inspected": day,
                "appliances": [{"appliance": "boiler", "result": result}],
            }
            for n, day in enumerate(days)
        )
    )  # fmt: skip


def epc(**facts: Any) -> Facts:
    return papers({"ref": "p", "kind": "epc", "rating": "C"} | facts)


def licence(**facts: Any) -> Facts:
    return {"ref": "l", "kind": "hmo_licence"} | facts


def alarms(*without: str, **facts: Any) -> Facts:
    """The home's alarms without some, the others with these facts."""
    return {"alarms": [one | facts for one in ALARMS if one["ref"] not in without]}


def shared(persons: int, households: int, storeys: int = 2, *held: Facts) -> Facts:
    """A shared house with a paper of every kind that shared houses need."""
    return {
        "dwelling": "house",
        "occupancy": {"persons": persons, "households": households, "shares_amenities": True},
        "building": {"storeys": storeys},
        "papers": [*(held or [{"kind": "hmo_licence"}])],
    }


HOB = {
    "ref": "boiler",
    "kind": "gas_cooker",
    "room": "kitchen",
    "owner": "landlord",
    "installed": "2019-06-03",
}
OIL_ROOMS = {
    "rooms": [
        {"ref": "hall", "level": 0, "use": "hall"}, {"ref": "living", "level": 0, "use": "living"},
        {"ref": "kitchen", "level": 0, "use": "kitchen"}, {"ref": "wash", "level": 0, "use": "utility"},
        {"ref": "bed", "level": 1, "use": "bedroom"}, {"ref": "landing", "level": 1, "use": "landing"},
    ],
    "appliances": [{"ref": "oil", "kind": "oil_boiler", "room": "wash", "owner": "landlord"}],
}  # fmt: skip
DAMP = {"defects": [{"ref": "m", "scheme": "damp_mould", "code": "significant", "found": "2026-11-09"}]}
DAMP_BEFORE = {"defects": [DAMP["defects"][0] | {"found": "2026-09-01"}]}
ON_MARKET = {"marketing": [{"for": "sale", "from": "2026-11-23"}]}
ORDERED = {"ref": "o", "kind": "epc_commission", "issued": "2026-11-20"}
GAS_LATER = gas("2026-06-02", "2027-05-20")["papers"]

LETS = [
    Row("nothing is wrong", {}),
    Row("no electrical report", papers({"kind": "eicr"}), EICR),
    Row("the day before five years", eicr(inspected="2021-11-25"), on=DAY_BEFORE),
    Row("five years to the day", eicr(inspected="2021-11-25"), only(EICR, "wales")),
    Row("the day after five years", eicr(inspected="2021-11-25"), EICR, on=DAY_AFTER),
    Row(
        "an unsatisfactory report",
        eicr(inspected="2026-03-02", outcome="unsatisfactory"),
        EICR | {"wales": "house_failed_report"},
    ),
    Row("no test of the landlord's appliances", papers({"kind": "pat"}), {"scotland": "sco_pat"}),
    Row("no residual current device", {"main_board_rcd_30ma": False}, {"scotland": "sco_rcd"}),
    Row("no gas record", papers({"kind": "gas_safety_record"}), GAS),
    Row("twelve months of gas to the day", gas("2025-11-25")),
    Row("the day after twelve months of gas", gas("2025-11-25"), GAS, on=DAY_AFTER),
    Row("a gas anniversary kept, on its last strict day", gas("2025-02-10", "2025-12-11"), on=date(2026, 12, 11)),
    Row(
        "a gas anniversary kept, where there is none to keep", gas("2025-02-10", "2025-12-11"),
        only(GAS, "northern_ireland"), on=date(2026, 12, 12),
    ),
    Row("an all-electric home", {"appliances": [], **papers({"kind": "gas_safety_record"})}),
    Row("no energy certificate", papers({"kind": "epc"}), EPC, EPC),
    Row("ten years of an energy certificate to the day", epc(registered="2016-11-25")),
    Row("the day after ten years", epc(registered="2016-11-25"), EPC, EPC, on=DAY_AFTER),
    Row("an old energy certificate on 31 October 2027", papers(*GAS_LATER), on=date(2027, 10, 31)),
    Row(
        "an old energy certificate on 1 November 2027", papers(*GAS_LATER), {"scotland": "sco_epc"},
        {"scotland": "sco_epc"}, on=date(2027, 11, 1),
    ),
    Row("band E", epc(registered="2020-09-10", rating="E")),
    Row("band F", epc(registered="2020-09-10", rating="F"), BAND),
    Row(
        "band F with a registered exemption",
        papers(
            {"ref": "p", "kind": "epc", "rating": "F", "registered": "2020-09-10"},
            {"ref": "x", "kind": "mees_exemption", "exemption": "high_cost", "registered": "2025-03-03"},
        ),
    ),
    Row("a storey without a smoke alarm", alarms("s1"), ALARM),
    Row("battery alarms", alarms(power="battery"), only(ALARM, "wales", "scotland", "northern_ireland")),
    Row("sealed batteries", alarms(power="sealed_battery"), only(ALARM, "wales")),
    Row("alarms not linked", alarms(interlinked=False), only(ALARM, "wales", "scotland", "northern_ireland")),
    Row("no alarm in the living room", alarms("s2"), only(ALARM, "scotland", "northern_ireland")),
    Row("no heat alarm in the kitchen", alarms("h"), only(ALARM, "scotland", "northern_ireland")),
    Row("a boiler without a carbon monoxide alarm", alarms("co"), ALARM),
    Row("a hob without a carbon monoxide alarm", alarms("co") | {"appliances": [HOB]}, only(ALARM, "wales")),
    Row(
        "an oil boiler in a utility room without a carbon monoxide alarm",
        OIL_ROOMS | papers({"kind": "gas_safety_record"}) | alarms("co"),
        only(ALARM, "wales", "scotland", "northern_ireland"),
    ),
    Row("three people in two households", shared(3, 2)),
    Row("three people in three households", shared(3, 3), only(HMO, "scotland", "northern_ireland")),
    Row("five people in two households, two storeys", shared(5, 2), only(HMO, "england")),
    Row("five people in two households, three storeys", shared(5, 2, 3), only(HMO, "england", "wales")),
    Row("five people in five households, three storeys", shared(5, 5, 3), HMO),
    Row(
        "a licence of four years ago", shared(5, 5, 3, licence(issued="2022-11-25", until="2027-11-24")),
        only(HMO, "scotland"),
    ),
    Row(
        "a licence on its last day", shared(5, 5, 3, licence(issued="2024-11-26", until="2026-11-25")),
    ),
    Row(
        "a licence the day after", shared(5, 5, 3, licence(issued="2024-11-26", until="2026-11-25")), HMO,
        on=DAY_AFTER,
    ),
    Row(
        "a licence lapsed, its renewal asked for in time",
        shared(5, 5, 3, licence(issued="2024-11-01", until="2026-10-31", applied="2026-10-30")),
    ),
    Row(
        "a licence lapsed, its renewal asked for too late",
        shared(5, 5, 3, licence(issued="2024-11-01", until="2026-10-31", applied="2026-11-02")),
        only(HMO, "scotland", "northern_ireland"),
    ),
    Row(
        "no landlord registration", papers({"kind": "landlord_registration"}),
        only(REGISTERED, "scotland", "northern_ireland"),
    ),
    Row(
        "a landlord registered four years ago",
        papers({"ref": "r", "kind": "landlord_registration", "issued": "2022-11-25"}),
        only(REGISTERED, "scotland", "northern_ireland"),
    ),
    Row("damp and mould", DAMP, {"scotland": "sco_damp"}),
    Row("damp and mould on the day before the law came in", DAMP_BEFORE, on=date(2026, 10, 5)),
    Row("damp and mould on the day the law came in", DAMP_BEFORE, {"scotland": "sco_damp"}, on=date(2026, 10, 6)),
]  # fmt: skip

SALES = [
    Row("nothing is wrong", {}),
    Row("on the market with no certificate ordered", ON_MARKET | papers({"kind": "epc"}), EPC, EPC),
    Row(
        "on the market with a certificate ordered", ON_MARKET | papers({"kind": "epc"}, ORDERED), EPC,
        only(EPC, "scotland", "northern_ireland"),
    ),
    Row(
        "twenty-eight days after with a certificate ordered", ON_MARKET | papers({"kind": "epc"}, ORDERED), EPC,
        only(EPC, "scotland", "northern_ireland"), on=date(2026, 12, 20),
    ),
    Row(
        "twenty-nine days after with a certificate ordered", ON_MARKET | papers({"kind": "epc"}, ORDERED), EPC, EPC,
        on=date(2026, 12, 21),
    ),
    Row("band G", epc(registered="2020-09-10", rating="G"), BAND, {}),
    Row("no home report", papers({"kind": "home_report"}), {}, {"scotland": "sco_home_report"}),
    Row("a home report of twelve weeks", papers({"ref": "hr", "kind": "home_report", "inspected": "2026-09-02"})),
    Row(
        "a home report of twelve weeks and a day",
        papers({"ref": "hr", "kind": "home_report", "inspected": "2026-09-01"}), {}, {"scotland": "sco_home_report"},
    ),
    Row("no electrical report", papers({"kind": "eicr"}), EICR, {}),
    Row("no gas record", papers({"kind": "gas_safety_record"}), GAS, {}),
    Row("no alarms", {"alarms": []}, ALARM, {}),
    Row(
        "no landlord registration", papers({"kind": "landlord_registration"}),
        only(REGISTERED, "scotland", "northern_ireland"), {},
    ),
]  # fmt: skip


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("row", LETS, ids=lambda row: row.name)
def test_a_let_is_barred_by_just_what_the_nation_asks(row: Row, nation: str) -> None:
    answer = standing_in(nation, row.on, **row.changes)
    assert barring(answer.let.bars) == ({row.let[nation]} if nation in row.let else set())
    assert answer.let.clear is (nation not in row.let)


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("row", SALES, ids=lambda row: row.name)
def test_a_sale_is_barred_by_just_what_the_nation_asks(row: Row, nation: str) -> None:
    answer = standing_in(nation, row.on, **row.changes)
    assert barring(answer.sale.bars) == ({row.sale[nation]} if nation in row.sale else set())
    assert barring(answer.let.bars) == ({row.let[nation]} if nation in row.let else set())


@pytest.mark.parametrize("nation", NATIONS)
@pytest.mark.parametrize("result", ["ar", "id"])
def test_a_gas_appliance_found_dangerous_bars_a_let_by_law_and_both_by_house_policy(
    result: str, nation: str
) -> None:
    answer = standing_in(nation, **gas("2026-06-02", result=result))
    assert barring(answer.let.bars) == {GAS[nation], "house_danger"}
    assert barring(answer.sale.bars) == {"house_danger"}


def barring(reasons: Any) -> set[str]:
    return {reason.requirement for reason in reasons}


@pytest.mark.parametrize(
    ("name", "changes", "warned"),
    [
        (
            "no landlord registration",
            papers({"kind": "landlord_registration"}),
            {"wales": "wal_registration"},
        ),
        ("an old energy certificate", {}, {"scotland": "sco_epc"}),
        (
            "a renewal pending",
            shared(5, 5, 3, licence(issued="2024-11-01", until="2026-10-31", applied="2026-10-30")),
            only(HMO, "england", "wales"),
        ),
    ],
)
@pytest.mark.parametrize("nation", NATIONS)
def test_some_cells_warn_where_others_bar(
    name: str, changes: Facts, warned: dict[str, str], nation: str
) -> None:
    said = {one.requirement for one in standing_in(nation, **changes).let.warnings}
    about = set(warned.values())
    assert (warned[nation] in said) if nation in warned else not about & said, name


@pytest.mark.parametrize(
    ("nation", "landlord", "duties"),
    [
        ("england", "private", set()),
        ("england", "registered_provider", {"eng_awaab_social.investigate"}),
        ("wales", "private", set()),
        ("wales", "registered_provider", set()),
        ("scotland", "private", {"sco_damp.investigate"}),
        ("scotland", "registered_provider", {"sco_damp.investigate"}),
        ("northern_ireland", "private", set()),
    ],
)
def test_a_report_of_damp_starts_days_where_the_nation_has_them(
    nation: str, landlord: str, duties: set[str]
) -> None:
    told = {"what": "aware", "party": "tenant", "on": "2026-11-23"}
    answer = standing_in(nation, landlord=landlord, events=[told])
    assert {one.id for one in answer.duties} == duties


def test_alarms_missing_at_a_sale_are_warned_of_in_scotland_only() -> None:
    warned = {
        nation: {one.requirement for one in standing_in(nation, alarms=[]).sale.warnings}
        for nation in NATIONS
    }
    assert "sco_alarms" in warned.pop("scotland")
    assert not any(one.endswith("_alarms") for said in warned.values() for one in said)


def test_papers_of_the_complete_home_are_all_of_different_kinds() -> None:
    kinds = [paper["kind"] for paper in PAPERS]
    assert len(kinds) == len(set(kinds))
