"""The answer as plain data, and what a standing says about itself."""

import json
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from portfolio.law.evaluate import as_json, evaluate
from portfolio.law.loader import PACKS, load
from portfolio.law.model import NATIONS

from .homes import FLAT, TODAY, home, standing

C2 = {"ref": "d", "scheme": "bs7671", "code": "C2", "found": "2026-11-20", "title": "Loose socket"}


def test_a_standing_becomes_plain_json_with_every_field() -> None:
    said = json.loads(
        json.dumps(as_json(standing(defects=[C2], tenancies=[{"ref": "t", "starts": "2026-06-08"}])))
    )
    assert said.keys() == {"ref", "let", "sale", "requirements", "duties", "changes_on"}
    assert said["let"].keys() == {"clear", "until", "bars", "warnings"}
    reason = {"requirement", "kind", "of", "since", "says", "cure", "source", "basis"}
    assert all(one.keys() == reason for one in said["let"]["bars"] + said["let"]["warnings"])
    asked = {
        "id", "title", "state", "due", "certificate", "source", "basis", "parts", "let", "sale", "remarks",
    }  # fmt: skip
    assert all(one.keys() == asked for one in said["requirements"])
    owed = {"id", "title", "due", "party", "of", "state", "source", "basis", "by"}
    assert said["duties"]
    assert all(one.keys() == owed for one in said["duties"])


def test_days_are_iso_text_and_states_plain_words() -> None:
    said = as_json(standing())
    gas = next(one for one in said["requirements"] if one["id"] == "gb_gas_check")
    assert (said["let"]["until"], said["changes_on"]) == ("2027-06-02", "2027-06-03")
    assert (gas["state"], gas["due"], gas["basis"]) == ("met", "2027-06-02", "text")
    assert gas["parts"] == [
        {"of": "boiler", "state": "met", "due": "2027-06-02", "certificate": "g", "anniversary_kept": False}
    ]


def test_law_and_house_policy_are_both_listed_and_never_mixed_up() -> None:
    bars = standing(defects=[C2]).let.bars
    assert [(bar.requirement, bar.basis.value) for bar in bars] == [
        ("eng_eicr", "text"),
        ("house_danger", "house_policy"),
    ]
    assert [bar.requirement for bar in standing(defects=[C2]).sale.bars] == ["house_danger"]


def test_a_reason_says_what_since_when_and_how_to_cure_it() -> None:
    (bar,) = standing(defects=[C2]).sale.bars
    assert (bar.kind, bar.of, bar.since) == ("danger", "d", date(2026, 11, 20))
    assert "C2" in bar.says
    assert "Loose socket" in bar.says
    assert "confirm" in bar.cure


@pytest.mark.parametrize(
    ("nation", "packs"),
    [
        ("england", ["england", "england_wales", "great_britain", "house"]),
        ("wales", ["england_wales", "great_britain", "house", "wales"]),
        ("scotland", ["great_britain", "house", "scotland"]),
        ("northern_ireland", ["house", "northern_ireland"]),
        (None, ["house"]),
    ],
)
def test_the_packs_that_spoke_are_named_with_their_versions(nation: str | None, packs: list[str]) -> None:
    spoke = standing(building={"nation": nation}).packs
    assert [name for name, _ in spoke] == packs
    assert {name: version for name, version in spoke} == {
        name: "2026.2" if name == "great_britain" else "2026.3" for name in packs
    }


def test_every_requirement_of_the_nation_is_answered_in_a_steady_order() -> None:
    ids = [one.id for one in standing().requirements]
    assert ids == [topic.id for pack in load().packs for topic in pack.topics if "england" in pack.nations]


def test_work_done_or_made_safe_does_not_lift_a_danger() -> None:
    done = C2 | {"made_safe": "2026-11-20", "completed": "2026-11-21"}
    assert not standing(defects=[done]).let.clear
    assert standing(defects=[done | {"confirmed": "2026-11-22"}]).let.clear


def test_a_room_beside_the_burner_is_no_help() -> None:
    alarms = [alarm | {"room": "living"} if alarm["ref"] == "co" else alarm for alarm in FLAT["alarms"]]
    answer = standing(TODAY, alarms=alarms)
    assert [(bar.kind, bar.of) for bar in answer.let.bars] == [("missing", "kitchen")]


@pytest.mark.parametrize("nation", NATIONS)
def test_a_nation_whose_own_law_is_not_held_is_barred_and_says_so(nation: str, tmp_path: Path) -> None:
    """In a folder of packs without that nation's own, the ones it shares clear nothing."""
    packs = Path(shutil.copytree(PACKS, tmp_path / "packs"))
    shutil.rmtree(packs / nation)
    building, unit = home()
    answer = evaluate(load(packs), replace(building, nation=nation), unit, TODAY)
    assert nation not in {name for name, _ in answer.packs}
    for purpose in (answer.let, answer.sale):
        assert "law_not_held" in {reason.requirement for reason in purpose.bars}
        assert not purpose.clear
    (gap,) = (one for one in answer.requirements if one.id == "law_not_held")
    assert gap.state == "unknown"
