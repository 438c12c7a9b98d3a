"""Units: the fixed list of accepted codes, exact conversion, and how people write amounts.

Codes are UCUM's. Text from a client is looked up in the list and never evaluated. Exact definitions come
from pint, asked once per process by the names in the table below and kept as fractions: importing it and
building its registry takes a quarter of a second, so that waits for the first use. Nothing else meets pint.

A quantity is stored as a whole number of millionths of the material's stock unit. Everything in between is a
fraction, so 55 gal less eleven times 5 gal is exactly nothing where the stock unit is the gallon. Kept in
litres, each draw is rounded by itself and the last one may miss by a millionth: draw the rest as stored.
"""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache

from inventory.errors import BadInput, Fault

MILLION = 10**6
DECIMALS = 6
# A BigInteger holds 9.2e18; keeping one amount to 1e18 leaves room for a sum of nine of the largest.
LARGEST_MILLIONTHS = 10**18
LARGEST_VALUE = Decimal(LARGEST_MILLIONTHS // MILLION)
# Longer than any number in range, so that a megabyte of digits is refused before it is read as a number.
LONGEST_TEXT = 40

# Python's own reading of a decimal also takes "1_000", "NaN" and digits of every script.
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)


class BadAmount(BadInput):
    """An amount cannot be taken as it was given."""

    code = "bad_amount"


class UnknownUnit(BadAmount):
    """The unit is not on the list of accepted codes."""

    code = "unknown_unit"


class WrongDimension(BadAmount):
    """The unit measures something else than what is asked for."""

    code = "wrong_dimension"


class NotANumber(BadAmount):
    """The value is not a plain decimal number."""

    code = "not_a_number"


class TooManyDecimals(BadAmount):
    """The value is given finer than a millionth of its unit."""

    code = "too_many_decimals"


class RoundsToNothing(BadAmount):
    """The amount is not zero but would be stored as zero."""

    code = "rounds_to_nothing"


class AmountOutOfRange(BadAmount):
    """The amount is too large to be stored."""

    code = "amount_out_of_range"


@dataclass(frozen=True)
class Unit:
    """One accepted unit. `label` is what people read; `shown_decimals` is as fine as they need it."""

    code: str
    dimension: str
    label: str
    shown_decimals: int
    pint_name: str
    is_stock_unit: bool = False


UNITS: dict[str, Unit] = {
    unit.code: unit
    for unit in (
        Unit("L", "volume", "L", 2, "liter", is_stock_unit=True),
        Unit("mL", "volume", "mL", 0, "milliliter"),
        Unit("m3", "volume", "m³", 3, "meter ** 3"),
        Unit("[gal_us]", "volume", "gal", 2, "gallon", is_stock_unit=True),
        Unit("[gal_br]", "volume", "imp gal", 2, "imperial_gallon"),
        Unit("m", "length", "m", 2, "meter", is_stock_unit=True),
        Unit("mm", "length", "mm", 2, "millimeter"),
        Unit("[ft_i]", "length", "ft", 1, "foot", is_stock_unit=True),
        Unit("[in_i]", "length", "in", 3, "inch"),
        Unit("kg", "mass", "kg", 2, "kilogram", is_stock_unit=True),
        Unit("g", "mass", "g", 0, "gram"),
        Unit("[lb_av]", "mass", "lb", 1, "pound", is_stock_unit=True),
        Unit("1", "count", "each", 2, "dimensionless", is_stock_unit=True),
        Unit("[psi]", "pressure", "psi", 1, "pound_force_per_square_inch"),
        Unit("bar", "pressure", "bar", 2, "bar"),
        Unit("kPa", "pressure", "kPa", 0, "kilopascal"),
        Unit("Cel", "temperature", "°C", 1, "degree_Celsius"),
        Unit("[degF]", "temperature", "°F", 1, "degree_Fahrenheit"),
    )
}
UNIT_CODES: tuple[str, ...] = tuple(UNITS)
STOCK_UNITS: tuple[str, ...] = tuple(unit.code for unit in UNITS.values() if unit.is_stock_unit)
DIMENSIONS: tuple[str, ...] = tuple(dict.fromkeys(unit.dimension for unit in UNITS.values()))


@dataclass(frozen=True)
class Amount:
    """An amount as entered: at most six decimals, in range, unit on the list. Made by `parse_amount`."""

    value: Decimal
    unit: str

    @property
    def dimension(self) -> str:
        return UNITS[self.unit].dimension

    def __str__(self) -> str:
        return format_amount(self.value, self.unit)


def get_unit(code: object) -> Unit:
    """Look a code up in the list; anything else is refused, whatever it looks like."""
    unit = UNITS.get(code) if isinstance(code, str) else None
    if unit is None:
        shown = repr(code)[:LONGEST_TEXT]
        raise UnknownUnit(f"{shown} is not a unit known here; use one of {' '.join(UNIT_CODES)}")
    return unit


def require_dimension(code: str, dimension: str) -> Unit:
    """Return the unit, or refuse it when it does not measure `dimension`."""
    unit = get_unit(code)
    if unit.dimension != dimension:
        wanted = " ".join(other.code for other in UNITS.values() if other.dimension == dimension)
        raise WrongDimension(f"{code} is a unit of {unit.dimension}, not of {dimension}; use one of {wanted}")
    return unit


def parse_amount(value: str | int | float | Decimal, unit: str, *, dimension: str | None = None) -> Amount:
    """Take an amount as a client gives it, `{"value": "55", "unit": "[gal_us]"}`, and refuse what is unclear.

    Zeros behind the sixth decimal are taken, since nothing is lost with them. A float is read as the shortest
    number that prints it.
    """
    known = get_unit(unit) if dimension is None else require_dimension(unit, dimension)
    number = _read_number(value, known)
    if abs(number) > LARGEST_VALUE:
        raise AmountOutOfRange(
            f"{_shorten(value)} {known.label} is out of range; the largest is {LARGEST_VALUE} {known.label}"
        )
    rounded = _to_six_decimals(Fraction(number))
    if rounded != number:
        raise TooManyDecimals(
            f"{_shorten(value)} {known.label} has more than {DECIMALS} decimals; "
            f"round it to {DECIMALS} or give it in a smaller unit"
        )
    return Amount(value=_tidy(rounded), unit=known.code)


def to_millionths(amount: Amount, stock_unit: str) -> int:
    """Return the amount as a whole number of millionths of the stock unit, rounded half to even."""
    if stock_unit not in STOCK_UNITS:
        raise UnknownUnit(f"{stock_unit!r} is not a stock unit; use one of {' '.join(STOCK_UNITS)}")
    exact = convert(amount.value, amount.unit, stock_unit) * MILLION
    millionths = round(exact)
    label = UNITS[stock_unit].label
    if exact and not millionths:
        raise RoundsToNothing(
            f"{amount.value:f} {UNITS[amount.unit].label} is less than half a millionth of 1 {label} "
            "and would be stored as nothing; give a larger amount or zero"
        )
    if abs(millionths) > LARGEST_MILLIONTHS:
        raise AmountOutOfRange(
            f"{amount} is out of range; the largest that can be kept is {LARGEST_VALUE} {label}"
        )
    return millionths


def from_millionths(millionths: int, stock_unit: str, unit: str | None = None) -> Decimal:
    """Return a stored quantity in `unit` (its own when none is given), to six decimals, half to even."""
    return _to_six_decimals(convert(Fraction(millionths, MILLION), stock_unit, unit or stock_unit))


def convert(value: int | float | Decimal | Fraction, from_unit: str, to_unit: str) -> Fraction:
    """Convert exactly. Temperatures are readings on a scale whose zero points count: 20 Cel is 68 [degF]."""
    target = require_dimension(to_unit, get_unit(from_unit).dimension)
    exact = Fraction(value)
    if from_unit == target.code:
        return exact
    factor, zero = _definition(from_unit)
    target_factor, target_zero = _definition(target.code)
    return (exact * factor + zero - target_zero) / target_factor


@cache
def conversion_factor(from_unit: str, to_unit: str) -> Fraction:
    """Return how many `to_unit` one `from_unit` is, for arrays of numbers. Temperatures have none."""
    if get_unit(from_unit).dimension == "temperature":
        raise WrongDimension("a temperature reading has no plain factor; convert each reading by itself")
    return convert(1, from_unit, to_unit)


def base_factor(code: str) -> Fraction:
    """Return the exact size of the unit in m3, m, kg, one, Pa or K."""
    return _definition(get_unit(code).code)[0]


def format_amount(value: int | float | Decimal | Fraction, unit: str) -> str:
    """Write an amount as people do: '55 gal', '412 ft', '1.5 L'.

    As many decimals as the unit deserves, more where the amount would otherwise read as nothing, no zeros at
    the end. Thousands are not marked, since half of the readers take the mark for the decimal point.
    """
    exact = Fraction(value)
    return _write(exact.numerator, exact.denominator, get_unit(unit))


def format_millionths(millionths: int, stock_unit: str, unit: str | None = None) -> str:
    """Write a stored quantity as people do, in `unit` or in its own."""
    if unit is None or unit == stock_unit:
        return _write(millionths, MILLION, get_unit(stock_unit))
    return format_amount(convert(Fraction(millionths, MILLION), stock_unit, unit), unit)


def unit_label(code: str) -> str:
    """Return how people write the unit: they read gal, never [gal_us]."""
    return get_unit(code).label


def find_unit(text: str, *, dimension: str | None = None) -> str | None:
    """Find the code for a unit as people spell it in a spreadsheet; None when unknown or ambiguous.

    Case, dots and spaces do not matter, except that a code as it stands always means itself. Where a spelling
    may mean several units ("C", "F", "G"), the dimension decides if it is given.
    """
    stripped = text.strip()
    candidates: Iterable[str] = (stripped,) if stripped in UNITS else _SPELLINGS.get(_fold(stripped), ())
    if dimension is not None:
        candidates = [code for code in candidates if UNITS[code].dimension == dimension]
    found = list(candidates)
    return found[0] if len(found) == 1 else None


@cache
def _definitions() -> dict[str, tuple[Fraction, Fraction]]:
    """Ask pint for factor and zero point of every unit on the list, in fractions of SI base units."""
    # Imported here because building the registry costs more than the rest of this module's work together.
    import pint

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(
        non_int_type=Fraction, autoconvert_offset_to_baseunit=True
    )
    found = {}
    for unit in UNITS.values():
        zero = registry.Quantity(Fraction(0), unit.pint_name).to_base_units().magnitude
        one = registry.Quantity(Fraction(1), unit.pint_name).to_base_units().magnitude
        found[unit.code] = (Fraction(one) - Fraction(zero), Fraction(zero))
    return found


def _definition(code: str) -> tuple[Fraction, Fraction]:
    return _definitions()[code]


def _read_number(value: object, unit: Unit) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, str | int | float | Decimal):
        raise NotANumber(f"{_shorten(value)} is not a number; give a decimal such as 12.5 ({unit.label})")
    if isinstance(value, int):
        # Past 4300 digits Python refuses to print an integer at all.
        return Decimal(value) if value.bit_length() < 200 else Decimal("Infinity")
    text = (value if isinstance(value, str) else str(value)).strip()
    if len(text) > LONGEST_TEXT or not _NUMBER.fullmatch(text):
        raise NotANumber(f"{_shorten(text)} is not a number; give a decimal such as 12.5 ({unit.label})")
    return Decimal(text)


def _shorten(value: object) -> str:
    if isinstance(value, int) and value.bit_length() >= 200:
        return "an enormous number"
    text = str(value)
    return text if len(text) <= LONGEST_TEXT else f"{text[:LONGEST_TEXT]}..."


def _write(numerator: int, denominator: int, unit: Unit) -> str:
    """In whole numbers throughout: lists write amounts by the hundred thousand."""
    size, decimals = abs(numerator), unit.shown_decimals
    while size and decimals < DECIMALS and 2 * size * 10**decimals < denominator:
        decimals += 1
    digits, rest = divmod(size * 10**decimals, denominator)
    digits += 2 * rest > denominator or (2 * rest == denominator and digits % 2)
    if size and not digits:
        return f"less than 0.000001 {unit.label}"
    sign = "-" if numerator < 0 else ""
    whole, part = divmod(digits, 10**decimals)
    behind = f".{part:0{decimals}d}".rstrip("0") if part else ""
    return f"{sign}{whole}{behind} {unit.label}"


def _to_six_decimals(exact: Fraction) -> Decimal:
    # scaleb only shifts the point, so the digits stay exact whatever the decimal context is set to, up to 28.
    return Decimal(round(exact * MILLION)).scaleb(-DECIMALS)


def _tidy(value: Decimal) -> Decimal:
    """Drop zeros behind the point, and the sign of a zero; never switch to 1E+3."""
    if value == value.to_integral_value():
        return Decimal(int(value))
    return value.normalize()


def _fold(text: str) -> str:
    return re.sub(r"[\s._]+", "", text).casefold()


# The last name in each row is the UN/CEFACT Recommendation 20 common code, which exchange files carry.
_SPELLING_ROWS: dict[str, str] = {
    "L": "L|l|ltr|ltrs|lt|liter|liters|litre|litres|LTR",
    "mL": "ml|milliliter|milliliters|millilitre|millilitres|MLT",
    "m3": "m3|m³|m^3|cu m|cubic meter|cubic meters|cubic metre|cubic metres|cbm|MTQ",
    "[gal_us]": "gal|gals|gallon|gallons|us gal|us gals|gal (us)|us gallon|us gallons|gallons (us)|usg|GLL",
    "[gal_br]": "imp gal|imperial gallon|imperial gallons|uk gal|uk gallon|uk gallons|gal (uk)|gal (imp)|GLI",
    "m": "m|mtr|mtrs|meter|meters|metre|metres|lm|MTR",
    "mm": "mm|millimeter|millimeters|millimetre|millimetres|MMT",
    "[ft_i]": "ft|feet|foot|lf|lin ft|linear feet|linear foot|'|’|′|‘|FOT",
    "[in_i]": "in|ins|inch|inches|\"|”|″|“|''|’’|′′|INH",
    "kg": "kg|kgs|kilo|kilos|kilogram|kilograms|kilogramme|kilogrammes|KGM",
    "g": "gr|gm|gms|gram|grams|gramme|grammes|GRM",
    "[lb_av]": "lb|lbs|pound|pounds|LBR",
    "1": "each|ea|pc|pcs|piece|pieces|unit|units|count|ct|no|nos|EA|H87|C62",
    "[psi]": "psi|psig|lb/in2|lbs/in2|lbf/in2|lb/in²|lbf/in²|PS",
    "bar": "bar|bars|BAR",
    "kPa": "kpa|kilopascal|kilopascals|KPA",
    "Cel": "°c|℃|deg c|degc|degree c|degrees c|celsius|centigrade|CEL",
    "[degF]": "°f|℉|deg f|degf|degree f|degrees f|fahrenheit|FAH",
}
# One letter may stand for several things; only the kind of column can tell.
_AMBIGUOUS: dict[str, tuple[str, ...]] = {
    "c": ("Cel", "1"),
    "f": ("[degF]", "[ft_i]"),
    "g": ("g", "[gal_us]"),
}


def _gather_spellings() -> dict[str, tuple[str, ...]]:
    gathered: dict[str, tuple[str, ...]] = {_fold(code): (code,) for code in UNITS}
    for code, row in _SPELLING_ROWS.items():
        gathered.update({_fold(spelling): (code,) for spelling in row.split("|")})
    return gathered | _AMBIGUOUS


_SPELLINGS = _gather_spellings()


@contextmanager
def naming_the_amount(pointer: str, shown: str) -> Iterator[None]:
    """Name the field of an amount that cannot be taken within, and what was sent there."""
    try:
        yield
    except BadAmount as refusal:
        raise type(refusal).of([Fault(pointer, shown, refusal.message)]) from refusal
