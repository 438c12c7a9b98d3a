"""What a calculation takes and gives, declared once: parsing, refusals and published schema follow from it.

A field is read with `read`, which notes every fault instead of stopping at the first, and is published with
`schema` as JSON Schema 2020-12. Nothing here depends on a database or on a serializer: the same declaration
serves the command line, REST and GraphQL.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from api.wire.calculations.faults import Faults, Place

DECIMAL_PATTERN = r"^[+-]?(\d{1,40}(\.\d{0,40})?|\.\d{1,40})([eE][+-]?\d{1,2})?$"
_DECIMAL = re.compile(DECIMAL_PATTERN, re.ASCII)
# Squares and products of two inputs must stay finite.
LARGEST_NUMBER = 1e100
MOST_ITEMS = 10_000
LONGEST_TEXT = 200


class _Required:
    def __repr__(self) -> str:
        return "REQUIRED"


REQUIRED = _Required()
Schema = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Field:
    """One value of a request or an answer.

    A field with a default may be left out; `may_be_null` lets null stand for "none" and reads as None.
    """

    default: Any = REQUIRED
    may_be_null: bool = False
    about: str = ""

    @property
    def is_required(self) -> bool:
        return self.default is REQUIRED

    def read(self, value: Any, place: Place, faults: Faults) -> Any:
        """The value as the calculation wants it; None after a fault has been noted."""
        if value is None:
            if not self.may_be_null:
                faults.add(place, value, "must not be null")
            return None
        return self._read(value, place, faults)

    def schema(self) -> Schema:
        """This field in JSON Schema 2020-12."""
        schema = self._schema()
        if self.may_be_null:
            schema = {"anyOf": [schema, {"type": "null"}]}
        if self.about:
            schema = {**schema, "description": self.about}
        if not self.is_required and isinstance(self.default, str | int | float):
            schema = {**schema, "default": self.default}
        return schema

    def _read(self, value: Any, place: Place, faults: Faults) -> Any:
        raise NotImplementedError

    def _schema(self) -> Schema:
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class Limits:
    """The range of a number; an open end is `above` or `below`, a closed one `least` or `most`."""

    above: float | None = None
    below: float | None = None
    least: float | None = None
    most: float | None = None

    def complaint(self, number: float | Fraction) -> str:
        """What is wrong with a number, or nothing."""
        if self.above is not None and not number > self.above:
            return f"must be above {self.above:g}"
        if self.least is not None and not number >= self.least:
            return f"must be at least {self.least:g}"
        if self.below is not None and not number < self.below:
            return f"must be below {self.below:g}"
        if self.most is not None and not number <= self.most:
            return f"must be at most {self.most:g}"
        return ""

    def schema(self) -> Schema:
        names = {
            "exclusiveMinimum": self.above,
            "minimum": self.least,
            "exclusiveMaximum": self.below,
            "maximum": self.most,
        }
        return {name: limit for name, limit in names.items() if limit is not None}


NO_LIMITS = Limits()


def read_decimal(value: Any) -> Fraction | None:
    """A JSON number or a decimal string as an exact fraction; None where it is neither.

    A float stands for the shortest decimal that reads back as it: that is what the sender wrote.
    """
    if isinstance(value, bool):
        return None
    if isinstance(value, int):
        return Fraction(value)
    if isinstance(value, float):
        return Fraction(repr(value)) if math.isfinite(value) else None
    if isinstance(value, str) and _DECIMAL.match(value):
        return Fraction(value)
    return None


@dataclass(frozen=True, kw_only=True)
class Number(Field):
    """A finite number, or a decimal string standing for one; read as a float, or exactly as a fraction."""

    limits: Limits = NO_LIMITS
    is_exact: bool = False

    def _read(self, value: Any, place: Place, faults: Faults) -> float | Fraction | None:
        number = read_decimal(value)
        if number is None:
            faults.add(place, value, "must be a finite number or a decimal string")
            return None
        if abs(number) > LARGEST_NUMBER:
            faults.add(place, value, "is out of range")
            return None
        complaint = self.limits.complaint(number)
        if complaint:
            faults.add(place, value, complaint)
            return None
        return number if self.is_exact else float(number)

    def _schema(self) -> Schema:
        text = {"type": "string", "pattern": DECIMAL_PATTERN}
        return {"anyOf": [{"type": "number", **self.limits.schema()}, text]}


@dataclass(frozen=True, kw_only=True)
class Whole(Field):
    """A whole number."""

    limits: Limits = NO_LIMITS

    def _read(self, value: Any, place: Place, faults: Faults) -> int | None:
        number = read_decimal(value)
        if number is None or number.denominator != 1 or abs(number) > LARGEST_NUMBER:
            faults.add(place, value, "must be a whole number")
            return None
        complaint = self.limits.complaint(number)
        if complaint:
            faults.add(place, value, complaint)
            return None
        return int(number)

    def _schema(self) -> Schema:
        text = {"type": "string", "pattern": DECIMAL_PATTERN}
        return {"anyOf": [{"type": "integer", **self.limits.schema()}, text]}


@dataclass(frozen=True, kw_only=True)
class Flag(Field):
    """True or false."""

    def _read(self, value: Any, place: Place, faults: Faults) -> bool | None:
        if not isinstance(value, bool):
            faults.add(place, value, "must be true or false")
            return None
        return value

    def _schema(self) -> Schema:
        return {"type": "boolean"}


@dataclass(frozen=True, kw_only=True)
class Text(Field):
    """Text; an id, which other systems may send as a whole number, is compared as text."""

    is_id: bool = False
    longest: int = LONGEST_TEXT

    def _read(self, value: Any, place: Place, faults: Faults) -> str | None:
        if self.is_id and isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str) or not value:
            faults.add(place, value, "must be text")
            return None
        if len(value) > self.longest:
            faults.add(place, value, f"must have at most {self.longest} characters")
            return None
        return value

    def _schema(self) -> Schema:
        text = {"type": "string", "minLength": 1, "maxLength": self.longest}
        return {"anyOf": [text, {"type": "integer"}]} if self.is_id else text


@dataclass(frozen=True, kw_only=True)
class Choice(Field):
    """One of a short list of words."""

    options: tuple[str, ...]

    def _read(self, value: Any, place: Place, faults: Faults) -> str | None:
        if not isinstance(value, str) or value not in self.options:
            faults.add(place, value, f"must be one of {', '.join(self.options)}")
            return None
        return value

    def _schema(self) -> Schema:
        return {"type": "string", "enum": list(self.options)}


@dataclass(frozen=True, kw_only=True)
class Listing(Field):
    """A list of like items."""

    item: Field
    fewest: int = 0
    most: int = MOST_ITEMS

    def _read(self, value: Any, place: Place, faults: Faults) -> list[Any] | None:
        if not isinstance(value, list | tuple):
            faults.add(place, value, "must be a list")
            return None
        if not self.fewest <= len(value) <= self.most:
            faults.add(place, len(value), f"must have {self.fewest} to {self.most} items")
            return None
        return [self.item.read(item, place / index, faults) for index, item in enumerate(value)]

    def _schema(self) -> Schema:
        return {
            "type": "array",
            "items": self.item.schema(),
            "minItems": self.fewest,
            "maxItems": self.most,
        }


@dataclass(frozen=True, kw_only=True)
class Row(Field):
    """A list of fixed length whose places differ, such as [celsius, density] or [from, to]."""

    items: tuple[Field, ...]

    def _read(self, value: Any, place: Place, faults: Faults) -> tuple[Any, ...] | None:
        if not isinstance(value, list | tuple) or len(value) != len(self.items):
            faults.add(place, value, f"must be a list of {len(self.items)}")
            return None
        pairs = enumerate(zip(self.items, value, strict=True))
        return tuple(field.read(item, place / index, faults) for index, (field, item) in pairs)

    def _schema(self) -> Schema:
        size = len(self.items)
        prefix = [item.schema() for item in self.items]
        return {"type": "array", "prefixItems": prefix, "items": False, "minItems": size, "maxItems": size}


@dataclass(frozen=True, kw_only=True)
class Keyed(Field):
    """An object used as a map: like values under ids of the caller's choice."""

    item: Field
    fewest: int = 0
    most: int = MOST_ITEMS

    def _read(self, value: Any, place: Place, faults: Faults) -> dict[str, Any] | None:
        if not isinstance(value, Mapping):
            faults.add(place, value, "must be an object of values by id")
            return None
        if not self.fewest <= len(value) <= self.most:
            faults.add(place, len(value), f"must have {self.fewest} to {self.most} entries")
            return None
        for key in value:
            if not isinstance(key, str) or not 0 < len(key) <= LONGEST_TEXT:
                faults.add(place, key, f"its ids must be text of 1 to {LONGEST_TEXT} characters")
                return None
        return {key: self.item.read(item, place / key, faults) for key, item in value.items()}

    def _schema(self) -> Schema:
        return {
            "type": "object",
            "additionalProperties": self.item.schema(),
            "minProperties": self.fewest,
            "maxProperties": self.most,
            "propertyNames": {"minLength": 1, "maxLength": LONGEST_TEXT},
        }


@dataclass(frozen=True, kw_only=True)
class Record(Field):
    """An object with named fields. An unknown name is refused, so that a slip is not taken for a default."""

    fields: Mapping[str, Field]

    def _read(self, value: Any, place: Place, faults: Faults) -> dict[str, Any] | None:
        if not isinstance(value, Mapping):
            faults.add(place, value, "must be an object")
            return None
        self._note_unknown(value, place, faults)
        return {
            name: self._read_one(name, field, value, place, faults) for name, field in self.fields.items()
        }

    def _note_unknown(self, value: Mapping[Any, Any], place: Place, faults: Faults) -> None:
        for name in value:
            if name not in self.fields:
                message = f"is not a field here; the fields are {', '.join(self.fields)}"
                faults.add(place / str(name)[:LONGEST_TEXT], None, message)

    def _read_one(
        self, name: str, field: Field, value: Mapping[Any, Any], place: Place, faults: Faults
    ) -> Any:
        if name in value:
            return field.read(value[name], place / name, faults)
        if field.is_required:
            faults.add(place / name, None, "is missing")
            return None
        return field.default

    def _schema(self) -> Schema:
        return {
            "type": "object",
            "properties": {name: field.schema() for name, field in self.fields.items()},
            "required": [name for name, field in self.fields.items() if field.is_required],
            "additionalProperties": False,
        }


def mean_sd_fields(*, mean: Limits, default: Any = REQUIRED, about: str = "") -> Record:
    """An uncertain number by its mean and standard deviation; a standard deviation of 0 fixes it."""
    fields: dict[str, Field] = {
        "mean": Number(limits=mean),
        "sd": Number(limits=Limits(least=0), default=0.0),
    }
    return Record(fields=fields, default=default, about=about)


def number_list(*, fewest: int = 1, limits: Limits = NO_LIMITS, **rest: Any) -> Listing:
    """A list of numbers."""
    return Listing(item=Number(limits=limits), fewest=fewest, **rest)


def positive() -> Limits:
    return Limits(above=0)


def not_negative() -> Limits:
    return Limits(least=0)


def open_fraction() -> Limits:
    """Strictly between 0 and 1, as a quantile or a confidence must be."""
    return Limits(above=0, below=1)


def closed_fraction() -> Limits:
    return Limits(least=0, most=1)
