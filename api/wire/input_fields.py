"""Fields of what is sent to be stored, beside those of the calculations: amounts, money, moments, names."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from uuid import UUID

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import DECIMAL_PATTERN, Choice, Field, Record, Schema
from inventory.errors import Fault
from inventory.money import BadMoney, is_currency, to_money_millionths
from inventory.services.posting import REST, Rest
from inventory.units import UNIT_CODES, Amount, BadAmount, parse_amount

# Stricter than the standard library, which also reads weeks, ordinal days and moments without an offset.
MOMENT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,6})?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
EARLIEST, LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)
NAMES = {
    "place": "code of a place",
    "material": "code of a material",
    "container": "label of a container",
    "party": "code of a party",
    "recipe": "code of a recipe",
    "entry": "id of an entry",
}
REST_WORD = "rest"


@dataclass(frozen=True)
class Reference:
    """A name that was sent for one of our records, still to be looked up."""

    noun: str
    name: str
    pointer: Pointer


@dataclass(frozen=True)
class Price:
    """Money that was sent; its currency is still to be compared with the company's."""

    millionths: int
    currency: str
    pointer: Pointer


@dataclass(frozen=True, kw_only=True)
class ReferenceField(Field):
    """The name of a record of one noun."""

    noun: str

    def _read(self, value: Any, place: Pointer, faults: Faults) -> Reference | None:
        if not isinstance(value, str) or not 0 < len(value) <= 160 or not is_storable(value):
            faults.add(place, value, f"must be the {NAMES[self.noun]}")
            return None
        if self.noun == "entry":
            parsed = read_uuid(value)
            if parsed is None:
                faults.add(place, value, "must be a UUID")
                return None
            value = str(parsed)
        return Reference(self.noun, value, place)

    def _schema(self) -> Schema:
        if self.noun == "entry":
            return {"type": "string", "format": "uuid"}
        return {"type": "string", "minLength": 1, "maxLength": 160, "title": NAMES[self.noun]}


@dataclass(frozen=True, kw_only=True)
class AmountField(Field):
    """An amount to be stored, or the word "rest" where whatever is there may be meant.

    `dimension` says what it must measure; left out where that hangs on the material.
    """

    may_be_rest: bool = False
    dimension: str = ""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> Amount | Rest | None:
        if self.may_be_rest and value == REST_WORD:
            return REST
        known = len(faults.found)
        shape = Record(fields={"value": Anything(), "unit": Choice(options=UNIT_CODES)})
        read = shape.read(value, place, faults)
        if len(faults.found) > known or read is None:
            return None
        if not isinstance(read["value"], str | int | float) or isinstance(read["value"], bool):
            faults.add(place / "value", read["value"], "must be a decimal string such as 55.5")
            return None
        try:
            amount = parse_amount(read["value"], read["unit"])
        except BadAmount as refusal:
            faults.add(place / "value", read["value"], refusal.message)
            return None
        if self.dimension and amount.dimension != self.dimension:
            faults.add(place / "unit", amount.unit, f"measures {amount.dimension}, not {self.dimension}")
            return None
        return amount

    def _schema(self) -> Schema:
        amount = {
            "type": "object",
            "properties": {
                "value": {"anyOf": [{"type": "string", "pattern": DECIMAL_PATTERN}, {"type": "number"}]},
                "unit": {"type": "string", "enum": list(UNIT_CODES)},
            },
            "required": ["value", "unit"],
            "additionalProperties": False,
            "example": {"value": "55", "unit": "[gal_us]"},
        }
        return {"anyOf": [amount, {"const": REST_WORD}]} if self.may_be_rest else amount


@dataclass(frozen=True, kw_only=True)
class PriceField(Field):
    """Money in the company's currency; below zero only where value may be taken off."""

    may_be_negative: bool = False

    def _read(self, value: Any, place: Pointer, faults: Faults) -> Price | None:
        known = len(faults.found)
        read = Record(fields={"value": Anything(), "currency": CurrencyField()}).read(value, place, faults)
        if len(faults.found) > known or read is None:
            return None
        text = read["value"]
        if not isinstance(text, str) or not re.fullmatch(DECIMAL_PATTERN, text) or len(text) > 40:
            faults.add(place / "value", text, "must be a decimal string such as 12.50")
            return None
        is_negative = self.may_be_negative and text.startswith("-")
        try:
            millionths = to_money_millionths(text.removeprefix("-") if is_negative else text)
        except BadMoney as refusal:
            faults.add(place / "value", text, refusal.message)
            return None
        return Price(-millionths if is_negative else millionths, read["currency"], place / "currency")

    def _schema(self) -> Schema:
        return {
            "type": "object",
            "properties": {
                "value": {"type": "string", "pattern": DECIMAL_PATTERN, "maxLength": 40},
                "currency": {"type": "string", "pattern": "^[A-Z]{3}$"},
            },
            "required": ["value", "currency"],
            "additionalProperties": False,
            "example": {"value": "812.50", "currency": "USD"},
        }


@dataclass(frozen=True, kw_only=True)
class MomentField(Field):
    """A moment with its offset, RFC 3339."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> datetime | None:
        moment = _read_moment(value)
        if moment is None:
            faults.add(place, value, "must be a moment with an offset, such as 2026-03-31T17:20:00-05:00")
        elif not EARLIEST <= moment <= LATEST:
            faults.add(place, value, f"must lie between {EARLIEST:%Y} and {LATEST:%Y}")
        else:
            return moment
        return None

    def _schema(self) -> Schema:
        return {"type": "string", "format": "date-time", "example": "2026-03-31T17:20:00-05:00"}


@dataclass(frozen=True, kw_only=True)
class DayField(Field):
    """A day of the calendar, as 2026-03-31."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> date | None:
        day = read_day(value)
        if day is None:
            faults.add(place, value, "must be a day such as 2026-03-31")
        return day

    def _schema(self) -> Schema:
        return {"type": "string", "format": "date"}


@dataclass(frozen=True, kw_only=True)
class ClockField(Field):
    """A time of day in the company's time zone, as 17:30."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> time | None:
        found = (
            re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", value, re.ASCII) if isinstance(value, str) else None
        )
        if found is None:
            faults.add(place, value, "must be a time of day such as 17:30")
            return None
        return time(int(found[1]), int(found[2]))

    def _schema(self) -> Schema:
        return {"type": "string", "pattern": r"^([01]\d|2[0-3]):[0-5]\d$", "example": "17:30"}


@dataclass(frozen=True, kw_only=True)
class UuidField(Field):
    """An id made by the sender."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> UUID | None:
        found = read_uuid(value)
        if found is None:
            faults.add(place, value, "must be a UUID that you made for this entry")
        return found

    def _schema(self) -> Schema:
        return {"type": "string", "format": "uuid", "example": "7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01"}


@dataclass(frozen=True, kw_only=True)
class NoteField(Field):
    """Free text that is stored, empty where nothing is said."""

    longest: int = 500

    def _read(self, value: Any, place: Pointer, faults: Faults) -> str | None:
        if not isinstance(value, str) or not is_storable(value):
            faults.add(place, value, "must be text")
            return None
        if len(value) > self.longest:
            faults.add(place, value, f"must have at most {self.longest} characters")
            return None
        return value

    def _schema(self) -> Schema:
        return {"type": "string", "maxLength": self.longest}


@dataclass(frozen=True, kw_only=True)
class CurrencyField(Field):
    """Three letters of ISO 4217."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> str | None:
        if not isinstance(value, str) or not CURRENCY.fullmatch(value):
            faults.add(place, value, "must be three letters as in ISO 4217, such as USD")
            return None
        if not is_currency(value):
            faults.add(place, value, "is no currency of ISO 4217")
            return None
        return value

    def _schema(self) -> Schema:
        return {"type": "string", "pattern": "^[A-Z]{3}$"}


@dataclass(frozen=True, kw_only=True)
class Anything(Field):
    """A part whose check belongs to the whole."""

    def _read(self, value: Any, place: Pointer, faults: Faults) -> Any:
        return value

    def _schema(self) -> Schema:
        return {}


def is_storable(text: str) -> bool:
    """Whether both databases can keep the text: no NUL, no half of a surrogate pair."""
    return "\x00" not in text and not any("\ud800" <= sign <= "\udfff" for sign in text)


def read_uuid(value: object) -> UUID | None:
    if not isinstance(value, str) or not re.fullmatch(
        r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", value
    ):
        return None
    return UUID(value)


def read_day(value: object) -> date | None:
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        return None


def _read_moment(value: object) -> datetime | None:
    if not isinstance(value, str) or not MOMENT.fullmatch(value):
        return None
    try:
        moment = datetime.fromisoformat(value.upper())
        return moment.astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def fault_at(pointer: Pointer, value: str, message: str) -> Fault:
    return Fault(pointer.pointer, value, message)
