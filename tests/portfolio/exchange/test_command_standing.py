"""`manage.py standing`: the answer from a file, without a database."""

import io
import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from portfolio.exchange import generate, portfolio1
from portfolio.exchange.kinds import JsonObject
from portfolio.law.loader import load

ROOT = Path(__file__).parents[3]
FIXTURE = ROOT / "fixtures" / "one-flat.json"
C2 = {
    "ref": "d1",
    "scheme": "bs7671",
    "code": "C2",
    "title": "Socket loose, live parts reachable",
    "found": "2026-11-20",
}


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str]) -> Any:
    """Asks and returns what was printed; no database is open to these tests."""

    def asked(file: Path | str = FIXTURE, *options: str, on: str = "2026-11-25") -> str:
        call_command("standing", str(file), "--on", on, *options)
        return capsys.readouterr().out

    return asked


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Any:
    def asked(file: Path | str, *options: str, on: str = "2026-11-25") -> list[str]:
        with pytest.raises(SystemExit) as end:
            call_command("standing", str(file), "--on", on, *options)
        assert end.value.code == 2
        out, err = capsys.readouterr()
        assert out == ""
        return err.splitlines()

    return asked


@pytest.fixture
def written(tmp_path: Path) -> Any:
    """Writes the flat of the fixture, with changes to its home, into a file."""

    def write(**changes: Any) -> Path:
        tree: JsonObject = json.loads(FIXTURE.read_text(encoding="utf-8"))
        tree["units"][0].update(changes)
        path = tmp_path / "portfolio.json"
        path.write_text(json.dumps(tree), encoding="utf-8")
        return path

    return write


def test_flat_in_order_may_be_let_and_sold(ask: Any) -> None:
    said = json.loads(ask(FIXTURE, "--json"))
    assert list(said) == ["on", "packs", "units"]
    assert said["on"] == "2026-11-25"
    assert said["packs"] == {pack.name: pack.version for pack in load().packs}
    (unit,) = said["units"]
    assert {"ref", "let", "sale", "requirements", "duties", "changes_on"} <= set(unit)
    assert (unit["ref"], unit["let"]["clear"], unit["let"]["until"]) == ("cooper-yard-5", True, "2027-05-20")
    assert (unit["sale"]["clear"], unit["sale"]["until"]) == (True, "2030-09-09")


@pytest.mark.parametrize(("on", "clear"), [("2027-05-19", True), ("2027-05-20", True), ("2027-05-21", False)])
def test_until_is_the_last_day(ask: Any, on: str, clear: bool) -> None:
    assert json.loads(ask(FIXTURE, "--json", on=on))["units"][0]["let"]["clear"] is clear


def test_dangerous_socket_bars_both_until_confirmed(ask: Any, written: Any) -> None:
    (unit,) = json.loads(ask(written(defects=[C2]), "--json"))["units"]
    assert {bar["requirement"] for bar in unit["let"]["bars"]} == {"house_danger", "eng_eicr"}
    assert {bar["requirement"] for bar in unit["sale"]["bars"]} == {"house_danger"}
    assert unit["let"]["until"] is unit["sale"]["until"] is None
    done = C2 | {"completed": "2026-11-22"}
    assert not json.loads(ask(written(defects=[done]), "--json"))["units"][0]["let"]["clear"]
    confirmed = done | {"confirmed": "2026-11-25"}
    assert json.loads(ask(written(defects=[confirmed]), "--json"))["units"][0]["let"]["clear"]
    assert not json.loads(ask(written(defects=[confirmed]), "--json", on="2026-11-24"))["units"][0]["let"][
        "clear"
    ]


@pytest.mark.parametrize("fact", ["rooms", "appliances", "alarms", "certificates", "defects"])
def test_list_not_recorded_bars_the_let(ask: Any, written: Any, fact: str) -> None:
    (unit,) = json.loads(ask(written(**{fact: None}), "--json"))["units"]
    assert not unit["let"]["clear"]
    assert "unknown" in {bar["kind"] for bar in unit["let"]["bars"]}


def test_table_says_it_in_words(ask: Any, written: Any) -> None:
    assert "until 2027-05-20   until 2030-09-09" in ask()
    lines = ask(written(defects=[C2], ref="a-home-with-a-rather-long-ref")).splitlines()
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert "a-home-with-a-rather-long-ref: stops a let" in text
    assert "a-home-with-a-rather-long-ref: stops a sale" in text
    bars = json.loads(ask(written(defects=[C2]), "--json"))["units"][0]["let"]["bars"]
    for bar in bars:
        assert " ".join(bar["says"].split()) in text
        assert " ".join(bar["cure"].split()) in text
        assert bar["source"] in text


def test_table_shows_no_control_characters(ask: Any, written: Any) -> None:
    assert "\n\n" not in ask(written(ref="A\n\nB", label="\t")).split("Home  ")[1]


def test_portfolio_without_homes_is_answered(ask: Any, tmp_path: Path) -> None:
    path = tmp_path / "none.json"
    path.write_text('{"format": "portfolio/1"}', encoding="utf-8")
    assert "No homes." in ask(path)
    assert json.loads(ask(path, "--json"))["units"] == []


def test_only_the_named_homes_are_answered(ask: Any, refused: Any, tmp_path: Path) -> None:
    path = tmp_path / "many.json"
    path.write_text(portfolio1.text(generate.portfolio(5, around=date(2026, 11, 25))), encoding="utf-8")
    assert [unit["ref"] for unit in json.loads(ask(path, "--json"))["units"]] == [
        "U0",
        "U1",
        "U2",
        "U3",
        "U4",
    ]
    said = json.loads(ask(path, "--json", "--unit", "U3", "--unit", "U1"))
    assert [unit["ref"] for unit in said["units"]] == ["U3", "U1"]
    assert refused(path, "--unit", "u-3")[0].endswith('did you mean "U3"?')
    assert refused(path, "--unit", "elsewhere")[0].startswith('--unit: no home has the ref "elsewhere": ')


@pytest.mark.parametrize("on", ["2026-02-30", "25/11/2026", "today", "", "20261125", "1899-12-31"])
def test_bad_day_is_refused(refused: Any, on: str) -> None:
    (line,) = refused(FIXTURE, on=on)
    assert line.startswith("--on: ")
    assert "YYYY-MM-DD" in line


def test_faults_go_to_stderr_one_a_line(refused: Any, written: Any) -> None:
    path = written(dwelling="tent", label=5)
    assert [line.split(":")[0] for line in refused(path)] == ["/units/0/label", "/units/0/dwelling"]
    assert [line.split(":")[0] for line in refused(path, "--json")] == ["/units/0/label", "/units/0/dwelling"]


def test_unreadable_file_is_refused(refused: Any, tmp_path: Path) -> None:
    absent = tmp_path / "absent.json"
    assert refused(absent)[0].startswith(f"{absent}: the file cannot be read (No such file or directory): ")
    assert refused(tmp_path)[0].startswith(f"{tmp_path}: the file cannot be read (Is a directory): ")


def test_standard_input_is_read(ask: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(FIXTURE.read_bytes())))
    assert "cooper-yard-5" in ask("-")


def test_day_must_be_given() -> None:
    with pytest.raises(CommandError, match="--on"):
        call_command("standing", str(FIXTURE))


@pytest.mark.parametrize(
    "database",
    [
        "postgres://nobody@127.0.0.1:1/nowhere",
        pytest.param("sqlite:////nowhere/at/all.sqlite3", marks=pytest.mark.slow),
    ],
)
def test_no_database_is_needed(database: str) -> None:
    """The real program, with a database that cannot be reached; and its exit status."""

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), "standing", *arguments],
            capture_output=True, text=True, check=False, env=os.environ | {"DATABASE_URL": database},
        )  # fmt: skip

    good = run(str(FIXTURE), "--on", "2026-11-25", "--json")
    assert (good.returncode, good.stderr) == (0, "")
    assert json.loads(good.stdout)["units"][0]["let"]["until"] == "2027-05-20"
    bad = run(str(FIXTURE), "--on", "2026-11-31")
    assert (bad.returncode, bad.stdout, bad.stderr.count("\n")) == (2, "", 1)


def banded(written: Any, rating: str) -> Path:
    """The flat with another energy band, on a certificate that lasts until 2036."""
    tree = json.loads(FIXTURE.read_text(encoding="utf-8"))
    papers = tree["units"][0]["certificates"]
    new = {"rating": rating, "registered": "2026-09-10", "until": "2036-09-09"}
    file: Path = written(certificates=[one | (new if one["kind"] == "epc" else {}) for one in papers])
    return file


def test_announced_law_is_left_aside_unless_it_is_assumed(ask: Any, written: Any) -> None:
    file = banded(written, "D")
    plain = json.loads(ask(file, "--json"))
    said = json.loads(ask(file, "--json", "--assume", "band_c_2030=2026-11-25"))
    assert (plain["units"][0]["let"]["clear"], said["units"][0]["let"]["clear"]) == (True, False)
    assert said["assumed"] == {"band_c_2030": "2026-11-25"}
    assert said["packs"] == plain["packs"] | {"assumed": "band_c_2030 from 2026-11-25"}
    assert said["barred_by_it"] == ["cooper-yard-5"]
    assert "assumed" not in plain
    assert "barred_by_it" not in plain


@pytest.mark.parametrize(("on", "barred"), [("2030-09-30", []), ("2030-10-01", ["cooper-yard-5"])])
def test_assumed_law_begins_on_the_day_announced(ask: Any, written: Any, on: str, barred: list[str]) -> None:
    said = json.loads(ask(banded(written, "E"), "--json", "--assume", "band_c_2030", on=on))
    assert said["assumed"] == {"band_c_2030": "2030-10-01"}
    assert said["barred_by_it"] == barred


def test_what_is_barred_for_the_same_anyway_is_not_barred_by_it(ask: Any, written: Any) -> None:
    said = json.loads(ask(banded(written, "F"), "--json", "--assume", "band_c_2030=2026-11-25"))
    assert said["units"][0]["let"]["clear"] is False
    assert said["barred_by_it"] == []


def test_several_can_be_assumed_at_once(ask: Any, written: Any) -> None:
    wishes = ("--assume", "landlord_database=2027-01-01", "--assume", "band_c_2030=2026-12-01")
    said = json.loads(ask(banded(written, "D"), "--json", *wishes, on="2027-01-01"))
    assert said["assumed"] == {"band_c_2030": "2026-12-01", "landlord_database": "2027-01-01"}
    assert {one["requirement"] for one in said["units"][0]["let"]["bars"]} >= {"ew_mees", "eng_prs_database"}


def test_the_table_says_what_was_assumed_and_whom_it_bars(ask: Any, written: Any) -> None:
    said = " ".join(ask(banded(written, "D"), "--assume", "band_c_2030=2026-11-25").split())
    assert "Announced and not in force, but assumed to be: band_c_2030 from 2026-11-25." in said
    assert "Would be barred by it: 1 of 1 homes: cooper-yard-5" in said
    assert "assumed" not in ask(banded(written, "D"))


@pytest.mark.parametrize(
    ("wish", "wrong"),
    [
        ("nothing", "Nothing announced has the id 'nothing'"),
        ("nothing=2027-01-01", "Nothing announced has the id 'nothing'"),
        ("hazard_penalty=2027-01-01", "Too little is known of 'hazard_penalty' to reckon with it"),
        ("landlord_database", "No day is announced for 'landlord_database'"),
        ("band_c_2030=soon", '"soon" is not a day'),
        ("band_c_2030=", '"" is not a day'),
        ("band_c_2030=2027-02-29", '"2027-02-29" is not a day'),
    ],
)
def test_law_that_cannot_be_assumed_is_refused_with_the_cure(refused: Any, wish: str, wrong: str) -> None:
    (said,) = refused(FIXTURE, "--assume", wish)
    assert said.startswith("--assume: ")
    assert wrong in said
    assert len(said) > len(f"--assume: {wrong}: ")


def test_law_assumed_twice_is_refused(refused: Any) -> None:
    (said,) = refused(FIXTURE, "--assume", "band_c_2030", "--assume", "band_c_2030=2027-01-01")
    assert "written twice" in said


def test_the_coming_months_say_what_lapses_and_which_homes_stop(ask: Any) -> None:
    months = {one["month"]: one for one in json.loads(ask(FIXTURE, "--json", "--ahead", "60"))["ahead"]}
    assert (len(months), min(months), max(months)) == (60, "2026-11", "2031-10")
    may = months["2027-05"]
    assert may["stops"] == {"let": ["cooper-yard-5"], "sale": []}
    assert may["lapses"]["gb_gas_check"] == 1
    assert (months["2027-04"]["still_clear"], may["still_clear"]) == (
        {"let": 1, "sale": 1},
        {"let": 0, "sale": 1},
    )
    assert months["2030-09"]["stops"]["sale"] == ["cooper-yard-5"]
    assert sum(len(one["stops"]["let"]) for one in months.values()) == 1


@pytest.mark.parametrize(("on", "lapses"), [("2027-05-19", 1), ("2027-05-20", 1), ("2027-05-21", 0)])
def test_the_month_asked_in_counts_from_the_day(ask: Any, on: str, lapses: int) -> None:
    (month,) = json.loads(ask(FIXTURE, "--json", "--ahead", "1", on=on))["ahead"]
    assert month["month"] == "2027-05"
    assert month["lapses"].get("gb_gas_check", 0) == lapses
    assert len(month["stops"]["let"]) == lapses


def test_the_coming_months_stand_in_the_table(ask: Any) -> None:
    said = ask(FIXTURE, "--ahead", "24")
    (row,) = [line.split() for line in said.splitlines() if line.startswith("2027-05")]
    assert row[3:] == ["1", "0", "0", "1"]
    assert "If nothing more is recorded" not in ask(FIXTURE)


@pytest.mark.parametrize("months", ["0", "121", "-1", "two", "1.5", "", "２"])
def test_a_number_of_months_that_is_none_is_refused(refused: Any, months: str) -> None:
    (said,) = refused(FIXTURE, f"--ahead={months}")
    assert said.startswith("--ahead: ")
    assert said.endswith("write a whole number from 1 to 120")
