"""The portfolio/1 file, in and out. JSON, UTF-8; what every field means stands in `table.py`."""

import json
from collections import Counter
from pathlib import Path
from typing import Any

from portfolio.exchange import sense
from portfolio.exchange.faults import Fault, Faults
from portfolio.exchange.kinds import JsonObject
from portfolio.exchange.records import Doubled
from portfolio.exchange.table import FORMAT, PORTFOLIO, RECORDS, File
from portfolio.law import model as law

__all__ = ["Fault", "Faults", "dump", "parse", "read", "schema", "sense_faults", "shape_faults", "text"]

SCHEMA_FILE = Path(__file__).with_name("portfolio1.schema.json")


def read(content: bytes | str) -> law.Portfolio:
    """The portfolio in a file's content. Raises `Faults` listing everything wrong with it."""
    return from_tree(parse(content))


def from_tree(tree: Any) -> law.Portfolio:
    """The portfolio in JSON already parsed (by `parse`, which keeps doubled keys in sight)."""
    faults: list[Fault] = []
    file: File | None = PORTFOLIO.read(tree, "", faults)
    faults.extend(sense_faults(tree))
    if faults or file is None:
        raise Faults(faults)
    return law.Portfolio(buildings=file.buildings or (), units=file.units or ())


def shape_faults(tree: Any) -> list[Fault]:
    """What is wrong with the fields one by one: exactly what the JSON Schema refuses, and doubled keys."""
    faults: list[Fault] = []
    PORTFOLIO.read(tree, "", faults)
    return faults


def sense_faults(tree: Any) -> list[Fault]:
    """What is wrong between fields: refs that repeat or point nowhere, days out of order."""
    return list(sense.faults_of(PORTFOLIO, tree))


def parse(content: bytes | str) -> Any:
    """Strict JSON as a tree. Raises `Faults` when it is none."""
    try:
        words = content if isinstance(content, str) else content.decode("utf-8-sig")
        return json.loads(words.removeprefix("\ufeff"), object_pairs_hook=_object, parse_int=_whole)
    except UnicodeDecodeError as error:
        wrong = f"byte {error.start + 1} is not UTF-8"
        raise Faults([Fault("", wrong, "save the file with the encoding UTF-8")]) from error
    except json.JSONDecodeError as error:
        wrong = f"not JSON at line {error.lineno}, column {error.colno} ({error.msg})"
        raise Faults([Fault("", wrong, "correct the file there; a JSON checker shows the place")]) from error
    except RecursionError as error:
        wrong = "objects or lists stand far too deep inside one another"
        raise Faults([Fault("", wrong, "see whether this is a portfolio file at all")]) from error


def _object(pairs: list[tuple[str, Any]]) -> JsonObject:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    doubled = Doubled(found)
    doubled.doubled = tuple(key for key, times in Counter(key for key, _ in pairs).items() if times > 1)
    return doubled


def _whole(digits: str) -> int | float:
    """Python refuses to make thousands of digits an int; as a float they are merely out of bounds."""
    return int(digits) if len(digits) <= 20 else float(digits)


def dump(portfolio: law.Portfolio) -> JsonObject:
    """The file as JSON values: fields in the order of the table, what is not recorded left out."""
    return PORTFOLIO.write(File(FORMAT, portfolio.buildings, portfolio.units))


def text(portfolio: law.Portfolio) -> str:
    """The file itself. Two portfolios are equal exactly when their texts are."""
    return json.dumps(dump(portfolio), ensure_ascii=False, indent=1) + "\n"


def schema() -> JsonObject:
    """The JSON Schema (2020-12) of the file. `portfolio1.schema.json` holds the same, as text."""
    head: JsonObject = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:sneck:portfolio:1",
        "title": FORMAT,
    }
    return head | PORTFOLIO.definition() | {"$defs": {record.name: record.definition() for record in RECORDS}}


def schema_text() -> str:
    return json.dumps(schema(), indent=1) + "\n"
