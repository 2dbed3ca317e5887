"""What is on record of an invented home that is in order: rooms, alarms, papers, defects and acts."""

from datetime import date, timedelta
from random import Random
from typing import NamedTuple

from portfolio.law import model as law

SORTS = {"private": 78, "social": 10, "shared": 6, "room": 4, "lodger": 2}
"""Sorts of letting, and how many of a hundred homes are of each: whole homes, a house let to sharers, a room let
singly, a room in the landlord's own home."""


class Plan(NamedTuple):
    """What is settled about a home before its records are made."""

    chance: Random
    around: date
    nation: str
    sort: str
    heat: str
    """gas, oil or electric."""
    began: date
    """First day of the tenancy."""

    def ago(self, least: int, most: int) -> date:
        """Some day so many days ago."""
        return self.around - timedelta(days=self.chance.randint(least, most))

    def ahead(self, days: int) -> date:
        return self.around + timedelta(days=days)

    @property
    def is_single(self) -> bool:
        """A room let singly or to a lodger."""
        return self.sort in ("room", "lodger")

    @property
    def is_shared(self) -> bool:
        return self.sort in ("shared", "room")

    @property
    def landlord(self) -> str:
        return {"social": "registered_provider", "lodger": "resident"}.get(self.sort, "private")


def rooms(building: law.Building) -> tuple[law.Room, ...]:
    """A flat on one level, a house on two."""
    above = 0 if building.common_parts else 1
    upstairs = ("bedroom", "bathroom") if building.common_parts else ("landing", "bedroom", "bathroom")
    down = tuple(law.Room(use, 0, use) for use in ("hall", "living", "kitchen"))
    return (*down, *(law.Room(use, above, use) for use in upstairs))


def appliances(plan: Plan) -> tuple[law.Appliance, ...]:
    if plan.heat == "electric":
        return ()
    fitted = plan.began - timedelta(days=900)
    boiler = law.Appliance("boiler", f"{plan.heat}_boiler", "kitchen", "landlord", fitted)
    if plan.heat == "gas" and plan.chance.random() < 0.3:
        return boiler, law.Appliance("cooker", "gas_cooker", "kitchen", "landlord", fitted)
    return (boiler,)


def alarms(plan: Plan, there: tuple[law.Room, ...]) -> tuple[law.Alarm, ...]:
    """What the nation asks for: by storey, or room by room and all linked; carbon monoxide by the boiler."""
    wired = plan.nation != "england" or plan.chance.random() < 0.5
    power, good_to = "mains" if wired else "battery", plan.ahead(2000)
    uses = (
        ("hall", "landing", "living")
        if plan.nation in ("scotland", "northern_ireland")
        else ("hall", "landing")
    )
    fitted = [("smoke", room.ref) for room in there if room.use in uses]
    if len(uses) > 2:
        fitted.append(("heat", "kitchen"))
    found = [
        law.Alarm(f"{kind}-{room}", kind, room, power, wired, True, good_to, (plan.began,))
        for kind, room in fitted
    ]
    if plan.heat != "electric":
        co = law.Alarm("co", "co", "kitchen", "sealed_battery", False, True, good_to, (plan.began,))
        found.append(co)
    return tuple(found)


def papers(plan: Plan, building: law.Building, unit: law.Unit) -> tuple[law.Certificate, ...]:
    """Every paper that the nation asks of such a home, all in date."""
    report = law.Certificate("eicr", "eicr", "E-1", inspected=plan.ago(0, 1700), outcome="satisfactory")
    found = [report, *_gas_records(plan, unit), *_leaves(plan, unit)]
    found.append(_seen(plan, "legionella_assessment", 700))
    if not plan.is_single:
        band = plan.chance.choice("BCDE")
        found.append(law.Certificate("epc", "epc", "P-1", registered=plan.ago(0, 3500), rating=band))
    if unit.landlord_electrical_appliances:
        found.append(law.Certificate("pat", "pat", inspected=plan.ago(0, 1700), outcome="satisfactory"))
    if plan.nation == "scotland" and not plan.is_single:
        found.append(_seen(plan, "home_report", 60))
    if building.common_parts or plan.is_shared:
        found += _communal(plan, building)
    return tuple(found)


def _seen(plan: Plan, kind: str, days: int) -> law.Certificate:
    """A paper by the day it was inspected, so many days ago at most."""
    return law.Certificate(kind, kind, inspected=plan.ago(0, days))


def _gas_records(plan: Plan, unit: law.Unit) -> list[law.Certificate]:
    """Three checks about a year apart."""
    gas = [one.ref for one in unit.appliances or () if one.kind in ("gas_boiler", "gas_cooker")]
    if not gas:
        return []
    latest = plan.ago(0, 330)
    days = [latest - timedelta(days=plan.chance.randint(330, 365) * ago) for ago in (2, 1, 0)]
    safe = tuple(law.ApplianceCheck(ref, "safe") for ref in gas)
    return [
        law.Certificate(f"gas{i}", "gas_safety_record", f"G-{i}", inspected=day, appliances=safe)
        for i, day in enumerate(days)
    ]


def _leaves(plan: Plan, unit: law.Unit) -> list[law.Certificate]:
    """Licences, and the registration of a private landlord where there is one."""
    kinds = ["hmo_licence"] if plan.is_shared else []
    if unit.hmo.selective_licensing_area and plan.landlord == "private":
        kinds.append("selective_licence")
    if plan.nation != "england" and plan.landlord == "private":
        kinds.append("landlord_registration")
    issued, until = plan.ago(100, 400), plan.ahead(600)
    return [law.Certificate(kind, kind, issued=issued, until=until) for kind in kinds]


def _communal(plan: Plan, building: law.Building) -> list[law.Certificate]:
    """Papers of the parts that several homes or people share."""
    until = plan.ahead(300)
    fire = law.Certificate("fire", "fire_risk_assessment", inspected=plan.ago(0, 300), until=until)
    kinds = {"emergency_lighting_test": 300, "fire_alarm_service": 150, "asbestos_register": 300}
    if building.passenger_lift:
        kinds |= {"lift_examination": 150, "fire_door_check_common": 80, "fire_door_check_flat": 300}
    return [fire, *(_seen(plan, kind, days) for kind, days in kinds.items())]


def defects(plan: Plan) -> tuple[law.Defect, ...]:
    """Something small on the report; now and then what was dangerous and is confirmed, or damp that was seen to."""
    note = law.Defect("note", "bs7671", "C3", "Cover plate cracked", plan.ago(100, 300))
    if plan.chance.random() < 0.8:
        return (note,)
    found, ended = plan.ahead(-70), plan.ahead(-60)
    scheme, code = plan.chance.choice((("bs7671", "C2"), ("damp_mould", "significant"), ("hhsrs", "cat1")))
    over = law.Defect("over", scheme, code, "Put right", found, None, ended, ended, ended)
    return note, over


def acts(plan: Plan, unit: law.Unit) -> tuple[law.Act, ...]:
    """What went with the tenancy and the papers. In one home out of eight nobody recorded any of it."""
    if plan.chance.random() < 0.125:
        return ()
    granted = plan.began - timedelta(days=14)
    found = [
        law.Act("deposit_received", "t1", None, granted),
        law.Act("deposit_protected", "t1", "tenant", plan.began),
        law.Act("deposit_information_given", "t1", "tenant", plan.began),
        law.Act("terms_given", "t1", "tenant", granted),
        law.Act("right_to_rent_checked", "t1", None, granted),
    ]
    for paper in unit.certificates or ():
        if paper.kind in ("eicr", "gas_safety_record") and paper.inspected is not None:
            given = min(max(plan.began, paper.inspected + timedelta(days=3)), plan.around)
            found.append(law.Act("copy_given", paper.ref, "tenant", given))
    return (*found, *_damp_acts(plan, unit), *_requests(plan))


def _damp_acts(plan: Plan, unit: law.Unit) -> list[law.Act]:
    """Damp is reported, looked into, told of and dried out, all in a few days."""
    damp = [one for one in unit.defects or () if one.scheme == "damp_mould"]
    done = (("aware", None, -70), ("investigated", None, -66), ("work_started", None, -63))
    told = ("copy_given", "tenant", -64)
    return [
        law.Act(what, one.ref, party, plan.ahead(days)) for one in damp for what, party, days in (*done, told)
    ]


def _requests(plan: Plan) -> list[law.Act]:
    """Somebody who may become the tenant asked for the electrical report and was given it."""
    if plan.chance.random() < 0.8:
        return []
    asked, given = plan.ahead(-40), plan.ahead(-35)
    return [
        law.Act("request_received", "eicr", "prospect", asked),
        law.Act("copy_given", "eicr", "prospect", given),
    ]
