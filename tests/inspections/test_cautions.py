"""What to do now: the right words for the right danger, and the right number for the nation."""

import re
from pathlib import Path

import pytest

from inspections.catalogue import typical
from inspections.cautions import FILE, LIMITS, cautions, load, read, told
from inspections.urgency import urgency
from portfolio.law.model import CODES, NATIONS
from portfolio.law.packfile import PackError

ALL = [(scheme, code) for scheme, codes in CODES.items() for code in codes]
STOP_NOW = [one for one in ALL if urgency(*one, found=None).band == 0]


@pytest.mark.parametrize(("scheme", "code"), STOP_NOW)
def test_whatever_stops_now_says_what_to_do_and_to_tell_whoever_lives_there(scheme: str, code: str) -> None:
    said = cautions(scheme=scheme, code=code, nation="wales")
    assert len(said) > 1
    assert any(one.startswith("Tell whoever lives there at once") for one in said)


@pytest.mark.parametrize(
    ("scheme", "code"), [one for one in ALL if one not in STOP_NOW and one != ("igem_g11", "AR")]
)
def test_what_is_not_a_danger_cries_no_wolf(scheme: str, code: str) -> None:
    assert cautions(scheme=scheme, code=code, nation="wales") == ()


@pytest.mark.parametrize(
    ("nation", "has", "has_not"),
    [
        ("england", "0800 111 999", "0800 002 001"),
        ("wales", "0800 111 999", "0800 002 001"),
        ("scotland", "0800 111 999", "0800 002 001"),
        ("northern_ireland", "0800 002 001", "0800 111 999"),
    ],
)
def test_gas_has_the_number_of_the_nation(nation: str, has: str, has_not: str) -> None:
    said = " ".join(cautions(scheme="igem_g11", code="ID", nation=nation))
    assert has in said
    assert has_not not in said


def test_without_a_nation_gas_has_both_numbers() -> None:
    said = " ".join(cautions(scheme="igem_g11", code="ID"))
    assert "0800 111 999" in said
    assert "0800 002 001" in said


def test_at_risk_says_off_and_not_on_again() -> None:
    said = " ".join(cautions(scheme="igem_g11", code="AR", nation="england"))
    assert "Do not turn the gas back on until a registered gas engineer has checked it." in said
    assert "0800 111 999" in said


@pytest.mark.parametrize(("code", "tells"), [("danger", True), ("repair", False), ("note", False)])
def test_suspected_gas_says_what_gas_says(code: str, tells: bool) -> None:
    said = " ".join(cautions(scheme="other", code=code, trade="gas", suspected=True, nation="england"))
    assert "0800 111 999" in said
    assert "Only an engineer registered for gas" in said
    assert ("Tell whoever lives there" in said) == tells


def test_a_live_part_is_not_to_be_touched_and_smoke_is_for_999() -> None:
    said = cautions(scheme="bs7671", code="C1", nation="england")
    assert said[0].startswith(
        "If there is smoke, a smell of burning or sparks: get everybody out and call 999."
    )
    assert any(one.startswith("Do not touch it and do not open any cover.") for one in said)
    assert any("do not touch them. Switch off first, then call 999." in one for one in said)
    assert not any("0800" in one for one in said)


@pytest.mark.parametrize(
    ("of", "scheme", "code", "says"),
    [
        ("CU07", "bs7671", "C2", "a smell of burning"),
        ("PL01", "other", "danger", "Keep away from water near anything electrical."),
        ("PL02", "other", "danger", "Do not use the hot water"),
        ("AS01", "other", "repair", "Do not drill, sand, scrape or break it"),
        ("GA02", "other", "danger", "go out into fresh air"),
        ("FD02", "fire", "substantial", "Keep the way out clear."),
        ("IN06", "other", "repair", "call 105."),
    ],
)
def test_a_typical_defect_adds_its_own(of: str, scheme: str, code: str, says: str) -> None:
    plain = cautions(scheme=scheme, code=code, nation="england")
    said = cautions(scheme=scheme, code=code, nation="england", typical=of)
    assert any(says in one for one in said)
    assert set(plain) <= set(said)
    assert len(said) == len(set(said))


def test_in_northern_ireland_the_network_has_another_number() -> None:
    said = " ".join(cautions(scheme="other", code="repair", nation="northern_ireland", typical="IN06"))
    assert "NIE Networks on 03457 643 643" in said
    assert "105" not in said


def test_an_id_that_the_catalogue_no_longer_has_adds_nothing() -> None:
    assert cautions(scheme="bs7671", code="C2", typical="XX99") == ()


def test_a_code_that_is_not_known_is_refused() -> None:
    with pytest.raises(ValueError, match="code: 'C9' is not one of bs7671"):
        cautions(scheme="bs7671", code="C9")


def test_no_sentence_is_left_unused_and_no_brace_unfilled() -> None:
    used = {key for one in typical().values() for key in one.cautions}
    for nation in (*NATIONS, None):
        every = " ".join(told(load().says, nation))
        assert "{" not in every
        for key in load().says.keys() - used:
            sentences = told([key], nation)
            heard = [cautions(scheme=s, code=c, nation=nation) for s, c in ALL]
            assert any(set(sentences) <= set(said) for said in heard), key


def test_a_key_that_is_not_there_is_named() -> None:
    with pytest.raises(KeyError, match="gas_leek"):
        told(["gas_leek"], "england")


def test_what_the_tool_does_not_do_is_said() -> None:
    said = " ".join(LIMITS)
    assert "does not inspect" in said
    assert "registered gas engineers only" in said
    assert all(one.endswith(".") for one in LIMITS)


WRONG = [
    ('northern_ireland = "0800 002 001"\n', "", r"numbers\.gas_line\.northern_ireland: missing"),
    ("call {network}.", "call {nobody}.",
     r"cautions\.network_equipment\.says\[0\].*names no number held.*gas_line, network"),
    ("says = [\n  \"Keep people away", "say = [\n  \"Keep people away", r"cautions\.danger\.say: unknown key"),
    ("when.\"", "when\"", r"cautions\.tell\.says\[0\].*Write a sentence with a full stop"),
    ("[numbers.network]", "[numbers.network", "not readable as TOML"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), WRONG)
def test_a_bad_file_is_refused_with_place_and_cure(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = FILE.read_text(encoding="utf-8")
    assert old in text
    file = tmp_path / "cautions.toml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PackError, match=rf"cautions\.toml: .*{says}"):
        read(file)


def test_the_file_itself_is_read_without_a_fault() -> None:
    assert read(FILE) == load()
    assert not [says for all_says in load().says.values() for says in all_says if re.search(r"\s{2}", says)]
