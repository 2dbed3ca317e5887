"""Electrical appliances the landlord provides, tested every few years: Scotland, and social homes in England."""

from datetime import date

from ..dates import AsOn, within_days_of
from ..home import Home
from ..lawbook import Finding, Topic
from ..model import Duty
from .duties import duty, reported
from .electrical import REACH, TIMING, Sheet, binds_running, is_put_right, outside, satisfactory
from .registry import rule
from .scope import NOT_APPLICABLE, is_settled, landlord_doubt, letting_doubt, weighed

TEST = Sheet(
    "pat", "test of the landlord's appliances", "There is no test of the landlord's electrical appliances.",
    "Have every electrical appliance that the landlord provides tested.",
    "Have what failed repaired, replaced or taken away and confirmed, or have a new test.",
)  # fmt: skip


@rule({**REACH, **TIMING})
def appliance_test(home: Home, law: Topic, on: AsOn) -> Finding:
    """Every appliance provided with the let, tested in time and safe.

    Scotland: Housing (Scotland) Act 2006 s.19A(2). England: SI 2020/312 as amended by SI 2025/1043.
    """
    answer = outside(home, law, on)
    supplied = home.unit.landlord_electrical_appliances
    if answer is not None or supplied is False:
        return answer or NOT_APPLICABLE
    doubts = landlord_doubt(home, law) + letting_doubt(home, law)
    if supplied is None:
        words = "whether the landlord provides electrical appliances"
        doubts += (law.unrecorded("landlord_electrical_appliances", words),)
    found = weighed(satisfactory(home, law, on, TEST, ()), doubts)
    return found if is_settled(found) else found._replace(continuing=binds_running(home, law, on))


@rule(REACH | {"social_new_from": date, "mend_days": int}, duties=("make_safe",))
def unsafe_appliances(home: Home, law: Topic, on: AsOn) -> Finding:
    """What the latest test found unsafe is repaired or replaced within days of that test."""
    if home.unit.landlord_electrical_appliances is False or outside(home, law, on) is not None:
        return Finding()
    found: list[Duty] = []
    for paper in home.papers("pat", "inspected", on).latest():
        day = paper.inspected
        if paper.outcome != "unsatisfactory" or day is None or day < law.day("social_new_from", on):
            continue
        done = is_put_right(home, (), on, paper) or any(
            one >= day for one in home.acts("work_completed", None, (paper.ref,), on)
        )
        due = within_days_of(day, law.number("mend_days", on))
        found.append(duty(law, "make_safe", due, done, on, value="mend_days", of=paper.ref))
    return reported(law, found)
