"""JSON objects as records: how one becomes a dataclass of the law's model and is written back."""

from dataclasses import MISSING, dataclass, fields
from typing import Any

from portfolio.exchange.faults import Fault, child
from portfolio.exchange.kinds import JsonObject, Kind, listed, nearest, shown
from portfolio.law import model as law


class Doubled(dict[str, Any]):
    """A JSON object in which a key stood more than once; `doubled` names those keys."""

    doubled: tuple[str, ...] = ()


@dataclass(frozen=True)
class Field:
    key: str
    attribute: str
    kind: Kind
    says: str
    required: bool


class Record:
    """A JSON object that becomes one dataclass of the law's model.

    `columns` gives, for every field of the dataclass, its kind and what it means; `keys` the few whose name
    in the file differs. A field without a default is required. `same` is the field that may not repeat within
    a list; `in_order` the pairs of days of which the second may not lie before the first.
    """

    def __init__(
        self,
        makes: type,
        says: str,
        columns: dict[str, tuple[Kind, str]],
        *,
        keys: dict[str, str] | None = None,
        same: str | None = None,
        in_order: tuple[tuple[str, str], ...] = (),
    ) -> None:
        self.makes, self.says, self.same, self.in_order = makes, says, same, in_order
        wanted = {f.name: f.default is MISSING and f.default_factory is MISSING for f in fields(makes)}
        if set(wanted) != set(columns):
            differ = ", ".join(set(wanted) ^ set(columns))
            raise TypeError(f"{makes.__name__}: only the table of fields or only the model has: {differ}")
        self.fields = tuple(
            Field((keys or {}).get(name, name), name, *columns[name], required)
            for name, required in wanted.items()
        )
        self.by_key = {field.key: field for field in self.fields}

    @property
    def name(self) -> str:
        return self.makes.__name__.lower()

    def schema(self) -> JsonObject:
        """A reference: the schema of each record stands once, among the definitions."""
        return {"$ref": f"#/$defs/{self.name}"}

    def read(self, value: Any, path: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            faults.append(Fault(path, f"{shown(value)} is not an object", "put its fields between { and }"))
            return None
        before = len(faults)
        self._read_keys(value, path, faults)
        found = {}
        for field in self.fields:
            if (given := value.get(field.key)) is not None:
                found[field.attribute] = field.kind.read(given, child(path, field.key), faults)
            elif field.required:
                says = field.says[0].lower() + field.says[1:].rstrip(".")
                faults.append(Fault(path, f'"{field.key}" is missing', f"add it ({says})"))
        self.read_together(value, path, faults)
        return self.makes(**found) if len(faults) == before else None

    def _read_keys(self, value: JsonObject, path: str, faults: list[Fault]) -> None:
        for key in value:
            if key not in self.by_key:
                near = nearest(key, self.by_key)
                known = f"take it out; known here: {listed(self.by_key)}"
                cure = f'did you mean "{near}"?' if near else known
                faults.append(Fault(child(path, key), "this key is not known here", cure))
        for key in value.doubled if isinstance(value, Doubled) else ():
            wrong = "this key stands more than once in its object"
            faults.append(Fault(child(path, key), wrong, "keep one of them"))

    def read_together(self, value: JsonObject, path: str, faults: list[Fault]) -> None:
        """Room for a rule over several fields that the schema can say too."""

    def definition(self) -> JsonObject:
        """The schema itself: nothing but the known keys; what is not required may be null."""
        properties = {}
        for field in self.fields:
            schema = field.kind.schema() if field.required else _or_null(field.kind.schema())
            properties[field.key] = schema | {"description": field.says}
        return {
            "description": self.says,
            "type": "object",
            "properties": properties,
            "required": [field.key for field in self.fields if field.required],
            "additionalProperties": False,
        }

    def write(self, value: Any) -> JsonObject:
        """Every recorded field in the order of the model; what is not recorded is left out."""
        written = {}
        for field in self.fields:
            held = getattr(value, field.attribute)
            if held is not None and (said := field.kind.write(held)) != {}:
                written[field.key] = said
        return written


class DefectRecord(Record):
    """A defect's code must be one of its own scheme's."""

    def read_together(self, value: JsonObject, path: str, faults: list[Fault]) -> None:
        scheme, code = value.get("scheme"), value.get("code")
        known = law.CODES.get(scheme) if isinstance(scheme, str) else None
        if known and isinstance(code, str) and code not in known and code in ALL_CODES:
            cure = f"write one of: {listed(known)}; or correct the scheme"
            faults.append(Fault(child(path, "code"), f"{shown(code)} is no code of {scheme}", cure))

    def definition(self) -> JsonObject:
        def only(scheme: str, codes: tuple[str, ...]) -> JsonObject:
            return {
                "if": {"properties": {"scheme": {"const": scheme}}},
                "then": {"properties": {"code": {"enum": list(codes)}}},
            }

        return super().definition() | {"allOf": [only(*pair) for pair in law.CODES.items()]}


ALL_CODES = tuple(dict.fromkeys(code for codes in law.CODES.values() for code in codes))


def _or_null(schema: JsonObject) -> JsonObject:
    if "$ref" in schema:
        return {"anyOf": [schema, {"type": "null"}]}
    nullable = schema | {"type": [schema["type"], "null"]}
    if "enum" in nullable:
        nullable["enum"] = [*nullable["enum"], None]
    return nullable
