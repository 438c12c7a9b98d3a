"""Quantities of a calculation: `{"value": "55", "unit": "[gal_us]"}` in, the same shape out.

Unlike an amount that is going to be stored, a calculation's quantity may have any number of decimals.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.wire.calculations.faults import Faults, Place
from api.wire.calculations.fields import (
    DECIMAL_PATTERN,
    NO_LIMITS,
    Field,
    Limits,
    Number,
    Record,
    Schema,
    read_decimal,
)
from inventory.units import UNITS, convert

# Calculations work in these; a temperature is a reading in degrees Celsius, as in the density tables.
BASE_UNITS = {
    "volume": "m3",
    "length": "m",
    "mass": "kg",
    "pressure": "kPa",
    "temperature": "Cel",
    "count": "1",
}


@dataclass(frozen=True)
class Quantity:
    """A quantity as it was sent: the exact value and its unit."""

    value: Fraction
    unit: str

    def exact_in(self, unit: str) -> Fraction:
        return convert(self.value, self.unit, unit)

    @property
    def base(self) -> float:
        """The value in the base unit of its dimension."""
        return float(self.exact_in(BASE_UNITS[UNITS[self.unit].dimension]))


def codes_of(dimension: str) -> tuple[str, ...]:
    return tuple(code for code, unit in UNITS.items() if unit.dimension == dimension)


def quantity_answer(base_value: float, unit: str) -> dict[str, str]:
    """A result in base units as a quantity in the unit asked for, all its digits kept."""
    dimension = UNITS[unit].dimension
    return decimal_quantity(convert(Fraction(float(base_value)), BASE_UNITS[dimension], unit), unit)


def decimal_quantity(value: Fraction, unit: str) -> dict[str, str]:
    """A value in its own unit as a quantity; written as the shortest decimal that reads back the same."""
    return {"value": f"{Decimal(repr(float(value))):f}", "unit": unit}


@dataclass(frozen=True, kw_only=True)
class QuantityField(Field):
    """A quantity of one dimension; `limits` hold for its value in the base unit."""

    dimension: str
    limits: Limits = NO_LIMITS

    def _read(self, value: Any, place: Place, faults: Faults) -> Quantity | None:
        known = len(faults.found)
        parts = Record(fields={"value": Number(is_exact=True), "unit": UnitField(dimension=self.dimension)})
        read = parts.read(value, place, faults)
        if len(faults.found) > known or read is None:
            return None
        quantity = Quantity(value=read["value"], unit=read["unit"])
        base_unit = BASE_UNITS[self.dimension]
        complaint = self.limits.complaint(quantity.exact_in(base_unit))
        if complaint:
            faults.add(place / "value", value["value"], f"{complaint} {base_unit}")
            return None
        return quantity

    def _schema(self) -> Schema:
        number: Schema = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": DECIMAL_PATTERN}]}
        return {
            "type": "object",
            "properties": {"value": number, "unit": UnitField(dimension=self.dimension).schema()},
            "required": ["value", "unit"],
            "additionalProperties": False,
        }


@dataclass(frozen=True, kw_only=True)
class UnitField(Field):
    """The code of a unit of one dimension."""

    dimension: str

    def _read(self, value: Any, place: Place, faults: Faults) -> str | None:
        codes = codes_of(self.dimension)
        if not isinstance(value, str) or value not in codes:
            faults.add(place, value, f"must be a unit of {self.dimension}: {' '.join(codes)}")
            return None
        return value

    def _schema(self) -> Schema:
        return {"type": "string", "enum": list(codes_of(self.dimension))}


@dataclass(frozen=True, kw_only=True)
class NumberOrQuantity(Field):
    """A plain number in the caller's own unit, or a quantity; read as either, exact in both cases."""

    dimension: str
    limits: Limits = NO_LIMITS

    def _read(self, value: Any, place: Place, faults: Faults) -> Quantity | Fraction | None:
        if isinstance(value, dict):
            field = QuantityField(dimension=self.dimension, limits=self.limits)
            quantity: Quantity | None = field.read(value, place, faults)
            return quantity
        if read_decimal(value) is None:
            faults.add(place, value, f"must be a number, a decimal string or a quantity of {self.dimension}")
            return None
        number: Fraction | None = Number(limits=self.limits, is_exact=True).read(value, place, faults)
        return number

    def _schema(self) -> Schema:
        quantity = QuantityField(dimension=self.dimension).schema()
        number = Number(limits=self.limits).schema()
        return {"anyOf": [*number["anyOf"], quantity]}


class UnitOfAnswer:
    """Holds lengths to one kind, plain or physical, and gives the answer in the unit of the first.

    A plain number beside a quantity has no unit that one could guess, so the two are not mixed.
    """

    def __init__(self) -> None:
        self._unit: str | None = None
        self._is_set = False

    def take(self, value: Fraction | Quantity) -> Fraction:
        """The value in the unit of the first one taken."""
        unit = value.unit if isinstance(value, Quantity) else None
        if not self._is_set:
            self._unit, self._is_set = unit, True
        if (unit is None) != (self._unit is None):
            raise ValueError("give either plain numbers or quantities with a unit, not both in one request")
        if isinstance(value, Quantity):
            assert self._unit is not None
            return value.exact_in(self._unit)
        return value

    def give(self, value: Fraction | float) -> float | dict[str, str]:
        """A result in that unit, plain or as a quantity."""
        if self._unit is None:
            return float(value)
        return decimal_quantity(Fraction(value), self._unit)
