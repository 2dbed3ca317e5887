"""portfolio/1 read and written: what is accepted comes back whole, what is refused says where and why."""

import copy
import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker

from portfolio.exchange import portfolio1, table
from portfolio.exchange.kinds import JsonObject, Kind, ListOf
from portfolio.exchange.portfolio1 import Fault, Faults
from portfolio.exchange.records import ALL_CODES, Record
from portfolio.law import model as law
from tests.portfolio.exchange.documents import EVERYTHING, at, compact, places, resolve, spoiled, trees

FIXTURE = Path(__file__).parents[3] / "fixtures" / "one-flat.json"
TEXT = json.dumps(EVERYTHING)
VALIDATOR = Draft202012Validator(portfolio1.schema(), format_checker=FormatChecker())


def faults_in(content: Any) -> list[str]:
    """What `read` says of a tree or of raw content; fails when it finds nothing wrong."""
    raw = content if isinstance(content, str | bytes) else json.dumps(content)
    with pytest.raises(Faults) as refusal:
        portfolio1.read(raw)
    return [str(fault) for fault in refusal.value.faults]


def all_faults(tree: JsonObject) -> list[Fault]:
    return portfolio1.shape_faults(tree) + portfolio1.sense_faults(tree)


def with_unit(**changes: Any) -> JsonObject:
    tree = copy.deepcopy(EVERYTHING)
    tree["units"][0].update(changes)
    return tree


def test_fixture_is_in_our_own_form() -> None:
    text = FIXTURE.read_text(encoding="utf-8")
    assert portfolio1.text(portfolio1.read(text)) == text


def test_every_field_arrives() -> None:
    unit = portfolio1.read(TEXT).units[0]
    assert unit.letting == law.Letting("tenancy", 3.5)
    assert unit.acquired_with_tenant == date(2024, 2, 29)
    assert unit.marketing == (
        law.Marketing("let", date(2026, 11, 1)),
        law.Marketing("sale", date(2026, 11, 10)),
    )
    assert unit.defects is not None
    assert unit.defects[0].confirmed == date(2023, 3, 21)
    assert unit.alarms is not None
    assert (unit.alarms[0].tested, unit.alarms[1].tested) == ((date(2025, 6, 14), date(2026, 7, 1)), None)


def test_everything_uses_every_field() -> None:
    """Else the tests that start from it would not see a field."""

    def unused(kind: Kind, values: list[Any]) -> Iterator[str]:
        if isinstance(kind, ListOf):
            yield from unused(kind.item, [item for value in values for item in value])
        elif isinstance(kind, Record):
            for field in kind.fields:
                given = [value[field.key] for value in values if value.get(field.key) is not None]
                yield from unused(field.kind, given) if given else [f"{kind.name}.{field.key}"]

    assert list(unused(table.PORTFOLIO, [EVERYTHING])) == []


def test_absent_null_and_empty_stay_apart() -> None:
    _, second, third = portfolio1.read(TEXT).units
    assert (second.rooms, third.rooms) == (None, ())
    assert second.letting == law.Letting()


@given(trees())
@example(EVERYTHING)
def test_what_is_read_is_written_again(tree: JsonObject) -> None:
    portfolio = portfolio1.read(json.dumps(tree))
    assert portfolio1.dump(portfolio) == compact(tree)
    assert portfolio1.read(portfolio1.text(portfolio)) == portfolio


@given(trees() | spoiled())
@example(EVERYTHING)
def test_schema_and_reader_agree(tree: JsonObject) -> None:
    assert (portfolio1.shape_faults(tree) == []) == VALIDATOR.is_valid(tree)


def test_schema_file_is_the_schema() -> None:
    """To bring it up to date: write `portfolio1.schema_text()` to `portfolio1.SCHEMA_FILE`."""
    Draft202012Validator.check_schema(portfolio1.schema())
    assert portfolio1.SCHEMA_FILE.read_text(encoding="utf-8") == portfolio1.schema_text()


@given(spoiled())
def test_spoiled_files_are_read_or_refused_with_places(tree: JsonObject) -> None:
    faults = all_faults(portfolio1.parse(json.dumps(tree)))
    if faults:
        lines = faults_in(tree)
        assert lines == [str(fault) for fault in faults]
        assert all(len(line.splitlines()) == 1 for line in lines)
        assert all(fault.wrong and fault.cure for fault in faults)
        for fault in faults:
            resolve(tree, fault.path)
    else:
        both: JsonObject = {"buildings": [], "units": []}
        assert portfolio1.dump(portfolio1.read(json.dumps(tree))) == both | compact(tree)


@given(st.binary() | st.text() | st.integers(0, len(TEXT) - 1).map(lambda end: TEXT[:end]))
def test_what_is_no_whole_file_is_refused(content: bytes | str) -> None:
    assert faults_in(content)


@pytest.mark.parametrize("way", places(EVERYTHING), ids=lambda way: "/".join(map(str, way)))
def test_any_value_of_a_wrong_type_is_named(way: tuple[Any, ...]) -> None:
    """Every place of the file in turn holds something that no field takes."""
    tree = copy.deepcopy(EVERYTHING)
    at(tree, way[:-1])[way[-1]] = [[["wrong"]]]
    pointer = "".join(f"/{part}" for part in way)
    assert any(line.startswith(pointer) for line in faults_in(tree))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "line 1, column 1"),
        ('{"format": "portfolio/1",\n "units": [}', "line 2, column 12"),
        (b"\xff\xfe{", "byte 1 is not UTF-8"),
        ("[" * 100_000, "too deep"),
        ("[]", "a list is not an object"),
        ("{}", '"format" is missing'),
        ('{"format": "portfolio/2"}', '/format: "portfolio/2" is not known here'),
        ('{"format": "portfolio/1", "format": "portfolio/1"}', "/format: this key stands more than once"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "ref": "c"}]}', "/buildings/0/ref: this key stands"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": NaN}]}', "/buildings/0/storeys: NaN"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": 1e999}]}', "/buildings/0/storeys: "),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": 1%s}]}' % ("0" * 5000), "is outside 0"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": true}]}', "true is not a number"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": 2.5}]}', "not a whole number"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storeys": -1}]}', "is outside 0 to 200"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "  "}]}', "/buildings/0/ref: it is blank"),
        ('{"format": "portfolio/1", "buildings": [{"ref": null}]}', '/buildings/0: "ref" is missing'),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "name": "\\u0000"}]}', "cannot be kept"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "name": "\\ud800"}]}', "cannot be kept"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "nation": "England"}]}', "did you mean england?"),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "storys": 2}]}', 'did you mean "storeys"?'),
        ('{"format": "portfolio/1", "buildings": [{"ref": "b", "a/b~c": 2}]}', "/buildings/0/a~1b~0c: this key"),
    ],
)  # fmt: skip
def test_fault_of_the_file_is_named(content: str | bytes, says: str) -> None:
    assert says in "\n".join(faults_in(content))


def certificate(**fields: Any) -> JsonObject:
    return with_unit(
        certificates=[*EVERYTHING["units"][0]["certificates"], {"ref": "new", "kind": "epc", **fields}]
    )


def defect(**fields: Any) -> JsonObject:
    return with_unit(defects=[{"ref": "d1", "scheme": "bs7671", "code": "C2", **fields}])


@pytest.mark.parametrize(
    ("tree", "place"),
    [
        (certificate(registered="2026-02-29"), "/units/0/certificates/6/registered: there is no day 2026-02-29"),
        (certificate(registered="25/11/2026"), '/units/0/certificates/6/registered: "25/11/2026" is not a date'),
        (certificate(registered="1899-12-31"), "/units/0/certificates/6/registered: there is no day 1899-12-31"),
        (certificate(registered="2201-01-01"), "/units/0/certificates/6/registered: there is no day 2201-01-01"),
        (certificate(ref="epc-2020"), '/6/ref: "epc-2020" stands already at /units/0/certificates/3'),
        (certificate(kind="EPC"), "did you mean epc?"),
        (certificate(registered="2026-11-25", until="2026-11-24"), "/certificates/6/until: 2026-11-24 lies before"),
        (certificate(issued="2026-11-25", until="2026-11-24"), '"issued", 2026-11-25'),
        (certificate(appliances=[{"appliance": "boyler"}]), '"boyler" points nowhere: did you mean "boiler"?'),
        (certificate(appliances=[{"appliance": "boiler"}] * 2), '/appliances/1/appliance: "boiler" stands already'),
        (certificate(number="n" * 101), "the text has 101 characters, more than the 100 allowed"),
        (defect(code="ID"), '/units/0/defects/0/code: "ID" is no code of bs7671'),
        (defect(code="C9"), '/units/0/defects/0/code: "C9" is not known here'),
        (defect(certificate="eicr-2024"), '/units/0/defects/0/certificate: "eicr-2024" points nowhere'),
        (defect(found="2026-11-25", confirmed="2026-11-24"), "/defects/0/confirmed: 2026-11-24 lies before"),
        (defect(completed="2026-11-25", confirmed="2026-11-24"), "/defects/0/confirmed: 2026-11-24 lies before"),
        (with_unit(building="nowhere"), '/units/0/building: "nowhere" points nowhere'),
        (with_unit(events=[{"what": "aware", "of": "hall"}]), '/units/0/events/0/of: "hall" points nowhere'),
        (with_unit(rooms=[{"ref": "kitchen"}]), '/units/0/alarms/0/room: "hall" points nowhere'),
        (with_unit(rooms=[]), '/units/0/appliances/0/room: "kitchen" points nowhere'),
        (with_unit(tenancies=[{"ref": "t2", "starts": "2026-07-01", "ends": "2026-06-30"}]), "/tenancies/0/ends"),
        (with_unit(marketing=[{"from": "2026-07-01"}]), '/units/0/marketing/0: "for" is missing'),
        (with_unit(ref="yard-7"), '/units/2/ref: "yard-7" stands already at /units/0'),
        (with_unit(hmo=[]), "/units/0/hmo: a list is not an object"),
        (with_unit(main_board_rcd_30ma=1), "/units/0/main_board_rcd_30ma: 1 is neither true nor false"),
        (with_unit(rooms=[{"ref": str(i)} for i in range(1001)]), "the list has 1001 items, more than the 1000"),
    ],
)  # fmt: skip
def test_fault_of_a_field_is_named(tree: JsonObject, place: str) -> None:
    assert place in "\n".join(faults_in(tree))


@pytest.mark.parametrize(
    "tree",
    [
        certificate(registered="2026-11-25", until="2026-11-25"),
        certificate(registered="1900-01-01", until="2200-12-31"),
        certificate(registered="2024-02-29"),
        certificate(number="n" * 100),
        defect(found="2026-11-25", completed="2026-11-25", confirmed="2026-11-25"),
        with_unit(label="Wohnung 5 – 五号 \N{HOUSE BUILDING}\nrear"),
        with_unit(occupancy={"persons": 2.0}),
    ],
)
def test_the_last_good_value_is_taken(tree: JsonObject) -> None:
    assert portfolio1.read(json.dumps(tree)).units


@pytest.mark.parametrize("name", ["rooms", "appliances", "certificates", "defects", "alarms", "tenancies"])
def test_ref_into_a_list_not_recorded_passes(name: str) -> None:
    """Nobody can say that it points nowhere; a list on record, even an empty one, says so."""
    tree = with_unit(**{name: None})
    assert getattr(portfolio1.read(json.dumps(tree)).units[0], name) is None
    assert any("points nowhere" in line for line in faults_in(with_unit(**{name: []})))


def test_every_fault_is_listed_at_once() -> None:
    tree = with_unit(lable="x", dwelling="tent", building="nowhere", tenancies=[{"granted": "soon"}])
    assert [line.split(":")[0] for line in faults_in(tree)] == [
        "/units/0/lable",
        "/units/0/dwelling",
        "/units/0/tenancies/0",
        "/units/0/tenancies/0/granted",
        "/units/0/building",
        *(f"/units/0/events/{at}/of" for at in range(8, 14)),
    ]


def test_fault_is_one_line_whatever_the_text() -> None:
    (line,) = faults_in('{"format": "portfolio/1", "a\\nb\\u001b[31m": 1}')
    assert line.startswith("/a\\nb\\x1b[31m: ")


def test_byte_order_mark_is_no_fault() -> None:
    assert portfolio1.read(b"\xef\xbb\xbf" + FIXTURE.read_bytes()) == portfolio1.read(FIXTURE.read_bytes())


@pytest.mark.parametrize("scheme", law.CODES)
def test_each_scheme_takes_its_own_codes_only(scheme: str) -> None:
    for code in ALL_CODES:
        tree = defect(scheme=scheme, code=code)
        tree["units"][0]["events"] = []
        assert (portfolio1.shape_faults(tree) == []) == (code in law.CODES[scheme])
