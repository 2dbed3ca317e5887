"""The register says how far each requirement is held, and nothing once answered may drop out unnoticed."""

import re
import shutil
import tomllib
from pathlib import Path

import pytest

from portfolio.law import loader
from portfolio.law.loader import PackError, load, register

ANSWERED = {
    "eng_eicr", "eng_alarms", "eng_hmo_licence", "gb_gas_check", "ew_epc", "ew_mees", "house_danger",
    # 2026.2
    "eng_hhsrs", "wal_hhsrs", "eng_awaab_social", "sco_damp",
    "wal_eicr", "sco_eicr", "sco_pat", "sco_rcd", "ni_eicr", "ni_hmo_wiring", "ni_gas_check",
    "eng_eicr_equipment_social", "eng_hmo_management", "wal_hmo_management",
    "wal_alarms", "sco_alarms", "ni_alarms",
    "eng_fra", "eng_fire_doors_11m", "eng_residential_peeps", "gb_emergency_lighting",
    "gb_fire_alarm_service", "gb_lift_loler", "ni_lift", "gb_asbestos_common_parts", "ni_asbestos", "gb_legionella",
    "house_alarm_test", "house_band", "house_failed_report", "house_margin",
    "wal_hmo", "sco_hmo", "ni_hmo", "wal_registration", "sco_registration", "ni_registration", "eng_prs_database",
    "sco_epc", "ni_epc", "sco_home_report",
    "eng_building_work", "wal_building_work", "sco_building_work", "ni_building_work",
    "eng_deposit", "wal_deposit", "sco_deposit", "ni_deposit",
    "eng_written_terms", "wal_written_statement", "ni_tenancy_information", "eng_right_to_rent",
}  # fmt: skip
"""Requirements some released version has answered. Add to it; never take away."""


def test_nothing_once_answered_has_vanished() -> None:
    assert set(load().topics) >= ANSWERED
    assert {entry.id for entry in register() if entry.status != "not_yet"} >= ANSWERED


def test_the_register_and_the_packs_agree() -> None:
    entries = {entry.id: entry for entry in register()}
    for pack in load().packs:
        for topic in pack.topics:
            assert entries[topic.id].status in ("covered", "partly"), topic.id
            assert set(entries[topic.id].nations) == set(pack.nations), topic.id
    covered = {entry.id for entry in register() if entry.status == "covered"}
    assert covered <= set(load().topics)


def test_every_released_version_is_in_the_list_of_changes() -> None:
    changes = Path(loader.__file__).with_name("CHANGES.md").read_text(encoding="utf-8")
    versions = set(re.findall(r"^## (\S+)", changes, flags=re.MULTILINE))
    assert {pack.version for pack in load().packs} <= versions
    assert all(f"`{requirement}`" in changes for requirement in load().topics)


def test_a_released_pack_is_as_it_was_released() -> None:
    """When this fails: raise the version in pack.toml, tell the days affected in CHANGES.md, then add a line here."""
    released = tomllib.loads(Path(loader.__file__).with_name("released.toml").read_text(encoding="utf-8"))
    held = {(pack.name, pack.version): loader.digest(loader.PACKS / pack.name) for pack in load().packs}
    assert held == {(name, version): released[name].get(version) for name, version in held}


def test_a_digest_changes_with_any_file_of_a_pack(tmp_path: Path) -> None:
    copy = Path(shutil.copytree(loader.PACKS / "england", tmp_path / "england"))
    assert loader.digest(copy) == loader.digest(loader.PACKS / "england")
    file = copy / "eicr.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("value = 28", "value = 29", 1), encoding="utf-8")
    assert loader.digest(copy) != loader.digest(loader.PACKS / "england")


@pytest.mark.parametrize(
    ("line", "instead", "says"),
    [
        ('status = "covered"', 'status = "maybe"', r"requirement\[0\]\.status: 'maybe' is not known"),
        ('id = "eng_alarms"', 'id = "eng_eicr"', r"requirement\[1\]\.id: 'eng_eicr' is used twice"),
        ('title = "Electrical condition report"\n', "", r"requirement\[0\]\.title: missing"),
    ],
)
def test_a_broken_register_is_refused(
    line: str, instead: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = loader.REGISTER.read_text(encoding="utf-8")
    assert line in text
    broken = tmp_path / "register.toml"
    broken.write_text(text.replace(line, instead, 1), encoding="utf-8")
    monkeypatch.setattr(loader, "REGISTER", broken)
    with pytest.raises(PackError, match=says):
        register()
