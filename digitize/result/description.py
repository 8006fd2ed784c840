"""A small language to describe a JSON file once: by one description it is written from records, read back into them,
and published as JSON Schema.

A kind knows how one value is written, how it is read back, and its schema. Reading takes nothing on trust: what is not
as described raises `Wrong` with its place in the file. Keys that are not described are let pass.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

LARGEST = 1e12
"""No number of a rocket comes near; beyond it sums and drawings break."""
DECIMALS = 3
"""Of outlines and curves: 0.001 mm or px, finer than anything a photo holds."""
_BACK = object()


class Wrong(Exception):
    """What stands in a file is not what it should be.

    args: where in the file, as '.fins[1].count'; what should be there, as 'a number'.
    """


class Kind(Protocol):
    """One sort of value."""

    def write(self, value: Any) -> Any:
        """The value of a record as plain JSON: dictionaries, lists, texts, numbers, true, false, None."""

    def read(self, value: Any, where: str) -> Any:
        """The value of the record again. Raises Wrong."""

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        """Its JSON Schema; what has a name goes into defs."""


@dataclass(frozen=True)
class Number:
    """A number, above one limit or not below another."""

    above: float | None = None
    least: float | None = None

    def write(self, value: Any) -> float:
        return float(value)

    def read(self, value: Any, where: str) -> float:
        _check_number(value, where)
        if self.above is not None and not value > self.above:
            raise Wrong(where, "above zero" if self.above == 0 else f"above {self.above:g}")
        if self.least is not None and not value >= self.least:
            raise Wrong(where, f"{self.least:g} or more")
        return float(value)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        low = {"minimum": -LARGEST if self.least is None else self.least}
        if self.above is not None:
            low = {"exclusiveMinimum": self.above}
        return {"type": "number", **low, "maximum": LARGEST}


@dataclass(frozen=True)
class Whole:
    """A whole number between two limits, both included."""

    least: int
    most: int

    def write(self, value: Any) -> int:
        return int(value)

    def read(self, value: Any, where: str) -> int:
        _check_number(value, where)
        if not isinstance(value, int) or not self.least <= value <= self.most:
            raise Wrong(where, f"a whole number from {self.least} to {self.most}")
        return value

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.least, "maximum": self.most}


@dataclass(frozen=True)
class Text:
    """A text; of these only, if any are named."""

    of: tuple[str, ...] = ()

    def write(self, value: Any) -> str:
        return value

    def read(self, value: Any, where: str) -> str:
        if self.of and value not in self.of:
            raise Wrong(where, f"one of {', '.join(self.of)}")
        if not isinstance(value, str):
            raise Wrong(where, "text")
        return value

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "string", **({"enum": list(self.of)} if self.of else {})}


@dataclass(frozen=True)
class Flag:
    """True or false."""

    def write(self, value: Any) -> bool:
        return bool(value)

    def read(self, value: Any, where: str) -> bool:
        if not isinstance(value, bool):
            raise Wrong(where, "true or false")
        return value

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Point:
    """(2,) x and y."""

    def write(self, value: Any) -> list[float]:
        return _rounded(value)

    def read(self, value: Any, where: str) -> np.ndarray:
        _check_pair(value, where)
        return np.array(value, float)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        defs["point"] = {"type": "array", "items": Number().schema(defs), "minItems": 2, "maxItems": 2}
        return {"$ref": "#/$defs/point"}


@dataclass(frozen=True)
class Points:
    """(n, 2) points."""

    def write(self, value: Any) -> list[list[float]]:
        return _rounded(value)

    def read(self, value: Any, where: str) -> np.ndarray:
        if not isinstance(value, list):
            raise Wrong(where, "a list of points")
        for pair in value:
            _check_pair(pair, where)
        return np.array(value, float).reshape(-1, 2)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "array", "items": Point().schema(defs)}


@dataclass(frozen=True)
class Curve:
    """(n,) numbers."""

    def write(self, value: Any) -> list[float]:
        return _rounded(value)

    def read(self, value: Any, where: str) -> np.ndarray:
        return np.array(List(Number()).read(value, where), float)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return List(Number()).schema(defs)


@dataclass(frozen=True)
class List:
    """Any number of one kind, a tuple in the record. They are counted from 1 in what is said of them."""

    of: Kind

    def write(self, value: Any) -> list[Any]:
        return [self.of.write(item) for item in value]

    def read(self, value: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise Wrong(where, "a list")
        return tuple(self.of.read(item, f"{where}[{number}]") for number, item in enumerate(value, 1))

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "array", "items": self.of.schema(defs)}


@dataclass(frozen=True)
class Maybe:
    """Of that kind, or null."""

    of: Kind

    def write(self, value: Any) -> Any:
        return None if value is None else self.of.write(value)

    def read(self, value: Any, where: str) -> Any:
        return None if value is None else self.of.read(value, where)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return _or_null(self.of.schema(defs))


@dataclass(frozen=True)
class Free:
    """A table of the user's own words, kept as it is."""

    def write(self, value: Any) -> Any:
        return dict(value)

    def read(self, value: Any, where: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise Wrong(where, "a table")
        return value

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"type": "object"}


@dataclass(frozen=True)
class Row:
    """One key of a table.

    field: of the record, if it is not named as the key; 'methods.words' is a field of the record in a field. optional:
    the key may be absent or null in a file, the field then is `missing`, or if that is not given what the record has
    for it. left_out: None is written as no key at all. about: what it is, for who reads the schema.
    """

    key: str
    kind: Kind
    field: str = ""
    optional: bool = False
    missing: Any = _BACK
    left_out: bool = False
    nothing: Any = None
    about: str = ""

    def put(self, record: Any, into: dict[str, Any]) -> None:
        """The field of the record as the key's value."""
        value = record
        for name in (self.field or self.key).split("."):
            value = None if value is None else getattr(value, name)
        if value is not None:
            into[self.key] = self.kind.write(value)
        elif not self.left_out:
            into[self.key] = self.nothing

    def take(self, table: dict[str, Any], where: str) -> Iterator[tuple[str, Any]]:
        """(field, value) of what the file has, or has to have. Raises Wrong."""
        field, place = self.field or self.key, f"{where}.{self.key}"
        if self.optional and table.get(self.key) in (None, self.nothing):
            if self.missing is not _BACK:
                yield field, self.missing
            return
        if self.key not in table:
            raise Wrong(place, "there")
        yield field, self.kind.read(table[self.key], place)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        found = self.kind.schema(defs)
        if self.optional:
            found = _or_null(found)
        return {**found, "description": self.about} if self.about else found


@dataclass(frozen=True)
class Constant:
    """A key with one number for its value, which no record holds."""

    key: str
    value: int
    about: str = ""
    optional = False

    def put(self, record: Any, into: dict[str, Any]) -> None:
        into[self.key] = self.value

    def take(self, table: dict[str, Any], where: str) -> Iterator[tuple[str, Any]]:
        if isinstance(table.get(self.key), bool) or table.get(self.key) != self.value:
            raise Wrong(f"{where}.{self.key}", str(self.value))
        return iter(())

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        return {"const": self.value, "description": self.about}


@dataclass(frozen=True)
class Inner:
    """A table in the file whose fields lie in the record itself. null: it is null where its first field is None."""

    key: str
    rows: "Rows"
    null: bool = False
    about: str = ""
    optional = False

    def put(self, record: Any, into: dict[str, Any]) -> None:
        inside: dict[str, Any] = {}
        for row in self.rows:
            row.put(record, inside)
        empty = self.null and inside[self.rows[0].key] is None
        into[self.key] = None if empty else inside

    def take(self, table: dict[str, Any], where: str) -> Iterator[tuple[str, Any]]:
        place = f"{where}.{self.key}"
        if self.key not in table:
            raise Wrong(place, "there")
        if self.null and table[self.key] is None:
            return
        yield from _fields(self.rows, table[self.key], place)

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        found = _object(self.rows, defs)
        found = _or_null(found) if self.null else found
        return {**found, "description": self.about} if self.about else found


Rows = tuple[Row | Constant | Inner, ...]


@dataclass(frozen=True)
class Table:
    """A record as a table with these rows. name: of its schema; check: looks at what is read as a whole, and raises
    Wrong."""

    record: Callable[..., Any]
    rows: Rows
    name: str = ""
    check: Callable[[Any, str], None] | None = None

    def write(self, value: Any) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for row in self.rows:
            row.put(value, found)
        return found

    def read(self, value: Any, where: str) -> Any:
        found = dict(_fields(self.rows, value, where))
        inner = {field: found.pop(field) for field in list(found) if "." in field}
        for field, told in inner.items():
            holder, _, name = field.partition(".")
            if found.get(holder) is not None:
                found[holder] = replace(found[holder], **{name: told})
        record = self.record(**found)
        if self.check is not None:
            self.check(record, where)
        return record

    def schema(self, defs: dict[str, Any]) -> dict[str, Any]:
        if not self.name:
            return _object(self.rows, defs)
        defs[self.name] = _object(self.rows, defs)
        return {"$ref": f"#/$defs/{self.name}"}


def _fields(rows: Rows, table: Any, where: str) -> Iterator[tuple[str, Any]]:
    if not isinstance(table, dict):
        raise Wrong(where or "it", "a table")
    for row in rows:
        yield from row.take(table, where)


def _object(rows: Rows, defs: dict[str, Any]) -> dict[str, Any]:
    needed = [row.key for row in rows if not row.optional]
    return {
        "type": "object",
        "properties": {row.key: row.schema(defs) for row in rows},
        **({"required": needed} if needed else {}),
    }


def _or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


def _check_number(value: Any, where: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Wrong(where, "a number")
    if not abs(value) <= LARGEST or not math.isfinite(value):
        raise Wrong(where, "a believable number")


def _check_pair(value: Any, where: str) -> None:
    if not isinstance(value, list) or len(value) != 2:
        raise Wrong(where, "made of pairs of numbers")
    for number in value:
        _check_number(number, where)


def _rounded(points: Any) -> Any:
    return np.round(np.asarray(points, float), DECIMALS).tolist()
