"""Reading one TOML file of the law with care: every fault names the file, the key and the cure."""

import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

TEXT, DAY, BOOL, TABLE, LIST = "text", "a day such as 2026-11-25", "true or false", "a table", "a list"
TYPES: dict[str, type] = {TEXT: str, DAY: date, BOOL: bool, TABLE: dict, LIST: list}


class PackError(Exception):
    """A pack that cannot be trusted; the text names the file, the key and the cure."""


class Place:
    """A file and a key in it, for saying where a fault is."""

    def __init__(self, file: Path, key: str = "") -> None:
        self.file, self.key = file, key

    def __truediv__(self, key: object) -> "Place":
        step = f"[{key}]" if isinstance(key, int) else f".{key}" if self.key else str(key)
        return Place(self.file, self.key + step)

    def fault(self, what: str, cure: str) -> PackError:
        shown = f"{self.file.parent.name}/{self.file.name}"
        return PackError(f"{shown}: {self.key or 'the file'}: {what}. {cure}")


def toml(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Place(file).fault(
            f"not readable as TOML ({error})", "Correct the file at that place."
        ) from error


def one_of(where: Place, value: object, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise where.fault(f"{value!r} is not known", f"Use one of: {', '.join(allowed)}.")
    return str(value)


def check_keys(
    where: Place, data: Mapping[str, Any], wanted: Mapping[str, str], more: Mapping[str, str]
) -> None:
    """Every key known and of its type, none missing, no text left empty."""
    for key in data:
        if key not in wanted and key not in more:
            known = ", ".join(sorted({*wanted, *more}))
            raise (where / key).fault("unknown key", f"Remove it, or use one of: {known}.")
    for key, kind in wanted.items():
        if key not in data:
            raise (where / key).fault("missing", f"Add {key}: {kind}.")
    for key, value in data.items():
        kind = wanted.get(key) or more[key]
        if not isinstance(value, TYPES[kind]) or isinstance(value, datetime):
            raise (where / key).fault(f"{value!r} is of the wrong type", f"Write {kind}.")
        if value == "":
            raise (where / key).fault("empty", f"Write {kind}.")
