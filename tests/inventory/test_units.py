"""Units against their exact definitions, and everything a client may send that is refused."""

import subprocess
import sys
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory import units
from inventory.units import (
    LARGEST_MILLIONTHS,
    STOCK_UNITS,
    UNITS,
    Amount,
    AmountOutOfRange,
    NotANumber,
    RoundsToNothing,
    TooManyDecimals,
    UnknownUnit,
    WrongDimension,
    base_factor,
    conversion_factor,
    convert,
    find_unit,
    format_amount,
    format_millionths,
    from_millionths,
    parse_amount,
    to_millionths,
)

INCH_M = Fraction(254, 10_000)
FOOT_M = Fraction(3048, 10_000)
POUND_KG = Fraction(45_359_237, 10**8)
STANDARD_GRAVITY = Fraction(980_665, 10**5)


@pytest.mark.outside_check(
    "NIST Handbook 44 App. C: 231 in3 per gallon, inch 25.4 mm, foot 0.3048 m, pound 0.45359237 kg; UK Units "
    "of Measurement Regulations 1995: gallon 4.54609 dm3; SI brochure: L, bar, g_n = 9.80665 m/s2 ; "
    "how known: HB 44 and UCUM essence 2.2 read in stored copies, the UK and SI figures from memory"
)
@pytest.mark.parametrize(
    ("code", "size"),
    [
        ("L", Fraction(1, 1000)),
        ("mL", Fraction(1, 10**6)),
        ("m3", Fraction(1)),
        ("[gal_us]", 231 * INCH_M**3),
        ("[gal_br]", Fraction(454_609, 10**8)),
        ("m", Fraction(1)),
        ("mm", Fraction(1, 1000)),
        ("[ft_i]", FOOT_M),
        ("[in_i]", INCH_M),
        ("kg", Fraction(1)),
        ("g", Fraction(1, 1000)),
        ("[lb_av]", POUND_KG),
        ("1", Fraction(1)),
        ("[psi]", POUND_KG * STANDARD_GRAVITY / INCH_M**2),
        ("bar", Fraction(10**5)),
        ("kPa", Fraction(1000)),
        ("Cel", Fraction(1)),
        ("[degF]", Fraction(5, 9)),
    ],
)
def test_base_factor_is_the_exact_definition(code: str, size: Fraction) -> None:
    assert base_factor(code) == size


@pytest.mark.outside_check(
    "UNECE Recommendation 20 rev. 17 and UCUM essence 2.2 conversion figures; 465 psi by lb*g_n/in2 ; "
    "how known: read in stored copies, the pressure computed"
)
@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "expected", "tolerance"),
    [
        ("1", "[gal_us]", "L", "3.785411784", 0),
        ("30", "[gal_us]", "L", "113.56235352", 0),
        ("275", "[gal_us]", "L", "1040.9882406", 0),
        ("1", "[gal_br]", "L", "4.54609", 0),
        ("1", "[gal_br]", "[gal_us]", "1.2009499255", "5e-11"),
        ("1", "[ft_i]", "m", "0.3048", 0),
        ("1", "[in_i]", "mm", "25.4", 0),
        ("1", "[lb_av]", "kg", "0.45359237", 0),
        ("1", "[psi]", "kPa", "6.894757293168362", "1e-15"),
        ("465", "[psi]", "kPa", "3206.06", "0.005"),
        ("465", "[psi]", "bar", "32.0606", "0.00005"),
        ("20", "Cel", "[degF]", "68", 0),
        ("32", "[degF]", "Cel", "0", 0),
        ("-40", "Cel", "[degF]", "-40", 0),
    ],
)
def test_convert_gives_published_figures(
    value: str, from_unit: str, to_unit: str, expected: str, tolerance: str | int
) -> None:
    difference = convert(Decimal(value), from_unit, to_unit) - Fraction(expected)
    assert abs(difference) <= Fraction(tolerance)


def test_list_of_units_is_the_published_one() -> None:
    expected = "L mL m3 [gal_us] [gal_br] m mm [ft_i] [in_i] kg g [lb_av] 1 [psi] bar kPa Cel [degF]"
    assert list(UNITS) == expected.split()
    assert set(STOCK_UNITS) == {"[gal_us]", "L", "[ft_i]", "m", "kg", "[lb_av]", "1"}


def test_eleven_times_five_gallons_out_of_fifty_five_leaves_nothing() -> None:
    drum = to_millionths(parse_amount("55", "[gal_us]"), "[gal_us]")
    pails = [to_millionths(parse_amount("5", "[gal_us]"), "[gal_us]") for _ in range(11)]
    assert drum - sum(pails) == 0


def test_gallons_kept_in_litres_miss_by_a_millionth_of_a_litre_so_the_stock_unit_matters() -> None:
    drum = to_millionths(parse_amount("55", "[gal_us]"), "L")
    pails = [to_millionths(parse_amount("5", "[gal_us]"), "L") for _ in range(11)]
    assert drum - sum(pails) == -1


def test_the_rest_of_a_drum_can_be_drawn_as_shown() -> None:
    left = to_millionths(parse_amount("208.197648", "L"), "[gal_us]") - to_millionths(
        parse_amount("7.3", "L"), "[gal_us]"
    )
    shown = from_millionths(left, "[gal_us]")
    assert to_millionths(parse_amount(str(shown), "[gal_us]"), "[gal_us]") == left


@pytest.mark.parametrize(
    ("value", "millionths"),
    [("1", 264_172), ("0.000001", 0), ("0.0000019", None), ("2.5", 660_430)],
)
def test_to_millionths_rounds_or_refuses(value: str, millionths: int | None) -> None:
    # 1 L = 0.264172052... gal by 231 in3 of 16.387064 mL each.
    if millionths:
        assert to_millionths(parse_amount(value, "L"), "[gal_us]") == millionths
    elif millionths == 0:
        with pytest.raises(RoundsToNothing, match="less than half a millionth"):
            to_millionths(parse_amount(value, "L"), "[gal_us]")
    else:
        with pytest.raises(TooManyDecimals):
            parse_amount(value, "L")


@pytest.mark.parametrize(("micro_litres", "millionths"), [("0.5", 0), ("1.5", 2), ("2.5", 2), ("3.5", 4)])
def test_to_millionths_rounds_half_to_even(micro_litres: str, millionths: int) -> None:
    amount = parse_amount(Decimal(micro_litres) / 1000, "mL")
    if millionths:
        assert to_millionths(amount, "L") == millionths
    else:
        with pytest.raises(RoundsToNothing):
            to_millionths(amount, "L")


def test_to_millionths_takes_a_true_zero() -> None:
    assert to_millionths(parse_amount("0", "mL"), "[gal_us]") == 0
    assert to_millionths(parse_amount("-0.0", "mL"), "[gal_us]") == 0


def test_to_millionths_keeps_sums_inside_a_big_integer() -> None:
    largest = to_millionths(parse_amount("1e12", "L"), "L")
    assert largest == LARGEST_MILLIONTHS
    assert largest * 9 < 2**63
    for unit in ("m3", "[gal_us]"):
        with pytest.raises(AmountOutOfRange, match="out of range"):
            to_millionths(parse_amount("1e12", unit), "L")


def test_to_millionths_refuses_what_is_no_stock_unit() -> None:
    with pytest.raises(UnknownUnit, match="not a stock unit"):
        to_millionths(parse_amount("1", "mL"), "mL")


def test_to_millionths_refuses_another_dimension() -> None:
    with pytest.raises(WrongDimension, match="L is a unit of volume, not of length"):
        to_millionths(parse_amount("1", "m"), "L")


@pytest.mark.parametrize(
    "value",
    [
        "nan", "NaN", "inf", "-Infinity", "sNaN", "", " ", "1_000", "1,5", "١٢", "0x10", "1e", "--1",
        "1e9999", "5*5", "9" * 1000, True, None, [], float("nan"), float("inf"), Decimal("NaN"),
    ],
)  # fmt: skip
def test_parse_amount_refuses_what_is_not_a_plain_number(value: object) -> None:
    with pytest.raises(NotANumber, match="is not a number"):
        parse_amount(value, "L")  # type: ignore[arg-type]


@pytest.mark.parametrize("value", ["1e13", "1e999", "-1000000000001", 1e300])
def test_parse_amount_refuses_what_is_too_large(value: str | int | float) -> None:
    with pytest.raises(AmountOutOfRange, match="out of range"):
        parse_amount(value, "L")


def test_parse_amount_refuses_an_integer_too_long_to_print() -> None:
    with pytest.raises(AmountOutOfRange, match="enormous number"):
        parse_amount(10**5000, "L")


@pytest.mark.parametrize("value", ["0.0000001", "1.2345678", "1e-7", "1e-999", 0.1 + 0.2, Decimal("1e-7")])
def test_parse_amount_refuses_more_than_six_decimals(value: str | float | Decimal) -> None:
    with pytest.raises(TooManyDecimals, match="more than 6 decimals"):
        parse_amount(value, "L")


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("55", "55"), (" 1.50 ", "1.5"), ("1e3", "1000"), ("+.5", "0.5"), (7, "7"), (0.1, "0.1"), ("-0", "0"),
        ("5.0000000", "5"), (Decimal("2.50"), "2.5"),
    ],
)  # fmt: skip
def test_parse_amount_takes_plain_numbers(value: str | int | float | Decimal, expected: str) -> None:
    amount = parse_amount(value, "[gal_us]")
    assert str(amount.value) == expected
    assert amount == Amount(Decimal(expected), "[gal_us]")


@pytest.mark.parametrize(
    "unit", ["gal", "GAL_US", "l", "[gal_us]/min", "L*0", "__import__('os')", "", None, 1, ["L"]]
)
def test_parse_amount_looks_units_up_and_never_evaluates_them(unit: object) -> None:
    with pytest.raises(UnknownUnit, match="not a unit known here; use one of L mL m3"):
        parse_amount("1", unit)  # type: ignore[arg-type]


def test_parse_amount_refuses_another_dimension() -> None:
    with pytest.raises(WrongDimension, match=r"kg is a unit of mass, not of volume; use one of L mL m3"):
        parse_amount("1", "kg", dimension="volume")


def test_errors_carry_their_own_codes() -> None:
    kinds = [UnknownUnit, WrongDimension, NotANumber, TooManyDecimals, RoundsToNothing, AmountOutOfRange]
    assert len({kind.code for kind in kinds}) == len(kinds)


def test_conversion_factor_refuses_temperatures() -> None:
    with pytest.raises(WrongDimension, match="no plain factor"):
        conversion_factor("Cel", "[degF]")


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        ("55.000000", "[gal_us]", "55 gal"),
        ("412", "[ft_i]", "412 ft"),
        ("1.5", "L", "1.5 L"),
        ("208.197648", "L", "208.2 L"),
        ("1000", "m", "1000 m"),
        ("12", "1", "12 each"),
        ("0.452", "[in_i]", "0.452 in"),
        ("20", "Cel", "20 °C"),
        ("-3.25", "[degF]", "-3.2 °F"),
        ("0.0004", "[gal_us]", "0.0004 gal"),
        ("0.4", "mL", "0.4 mL"),
        ("0", "kg", "0 kg"),
    ],
)
def test_format_amount_writes_as_people_do(value: str, unit: str, shown: str) -> None:
    assert format_amount(Decimal(value), unit) == shown


def test_format_amount_never_shows_something_as_nothing() -> None:
    assert format_amount(Fraction(1, 10**9), "L") == "less than 0.000001 L"


def test_no_label_shows_a_code_in_brackets() -> None:
    assert not [unit for unit in UNITS.values() if "[" in unit.label]


def test_format_millionths_converts_first() -> None:
    assert format_millionths(55_000_000, "[gal_us]", "L") == "208.2 L"
    assert format_millionths(55_000_000, "[gal_us]") == "55 gal"


@pytest.mark.parametrize(
    ("spelling", "code"),
    [
        ("gal", "[gal_us]"), ("Gallons", "[gal_us]"), ("US gal", "[gal_us]"), ("U.S. Gal.", "[gal_us]"),
        ("ft", "[ft_i]"), ("'", "[ft_i]"), ("′", "[ft_i]"), ("FEET", "[ft_i]"), ("Ft.", "[ft_i]"),
        ("in", "[in_i]"), ('"', "[in_i]"), ("″", "[in_i]"), ("''", "[in_i]"),
        ("ltr", "L"), ("litres", "L"), ("liters", "L"), ("l", "L"), ("ML", "mL"), ("m³", "m3"),
        ("M", "m"), ("metres", "m"), ("MM", "mm"), ("lbs", "[lb_av]"), ("LB", "[lb_av]"), ("kgs", "kg"),
        ("g", "g"), ("each", "1"), ("EA", "1"), ("pcs", "1"), ("psi", "[psi]"), ("PSIG", "[psi]"),
        ("°F", "[degF]"), ("deg C", "Cel"), ("°c", "Cel"), ("[gal_us]", "[gal_us]"), ("1", "1"),
    ],
)  # fmt: skip
def test_find_unit_knows_what_people_write(spelling: str, code: str) -> None:
    assert find_unit(spelling) == code


@pytest.mark.outside_check(
    "UNECE Recommendation 20 rev. 17e (2021) common codes ; how known: read in a stored copy"
)
@pytest.mark.parametrize(
    ("common_code", "code"),
    [
        ("GLL", "[gal_us]"), ("GLI", "[gal_br]"), ("LTR", "L"), ("MLT", "mL"), ("MTQ", "m3"), ("MTR", "m"),
        ("MMT", "mm"), ("FOT", "[ft_i]"), ("INH", "[in_i]"), ("KGM", "kg"), ("GRM", "g"), ("LBR", "[lb_av]"),
        ("BAR", "bar"), ("KPA", "kPa"), ("CEL", "Cel"), ("FAH", "[degF]"), ("C62", "1"), ("H87", "1"),
        ("EA", "1"),
        ("PS", "[psi]"),
    ],
)  # fmt: skip
def test_find_unit_knows_trade_exchange_codes(common_code: str, code: str) -> None:
    assert find_unit(common_code) == code


def test_find_unit_refuses_what_may_mean_two_things() -> None:
    assert find_unit("G") is None
    assert find_unit("F") is None
    assert find_unit("C") is None
    assert find_unit("furlong") is None
    assert find_unit("") is None


def test_find_unit_lets_the_dimension_decide() -> None:
    assert find_unit("F", dimension="temperature") == "[degF]"
    assert find_unit("G", dimension="volume") == "[gal_us]"
    assert find_unit("ft", dimension="volume") is None


def test_units_import_does_not_build_the_registry() -> None:
    script = "import sys, inventory.units; sys.exit('pint' in sys.modules)"
    subprocess.run([sys.executable, "-c", script], check=True)


def test_spellings_never_clash() -> None:
    seen: dict[str, str] = {}
    for code, row in units._SPELLING_ROWS.items():
        for spelling in row.split("|"):
            assert seen.setdefault(units._fold(spelling), code) == code
            assert find_unit(spelling) == code


same_dimension = st.sampled_from([
    (one, other) for one in UNITS for other in UNITS if UNITS[one].dimension == UNITS[other].dimension
])  # fmt: skip
# The first conversion of a process builds the registry of units, which passes the usual deadline.
unhurried = settings(deadline=None)
six_decimals = st.integers(-(10**15), 10**15).map(lambda n: Decimal(n).scaleb(-6))


@unhurried
@given(value=six_decimals, pair=same_dimension)
def test_convert_there_and_back_is_exact(value: Decimal, pair: tuple[str, str]) -> None:
    there = convert(value, *pair)
    assert convert(there, *reversed(pair)) == Fraction(value)


@unhurried
@given(value=six_decimals, unit=st.sampled_from(STOCK_UNITS))
def test_stock_unit_round_trip_is_exact(value: Decimal, unit: str) -> None:
    millionths = to_millionths(parse_amount(value, unit), unit)
    shown = from_millionths(millionths, unit)
    assert shown == value
    assert shown.as_tuple().exponent == -6
    assert to_millionths(parse_amount(f"{shown}", unit), unit) == millionths


@unhurried
@given(value=six_decimals, pair=same_dimension)
def test_to_millionths_is_off_by_half_a_millionth_at_most(value: Decimal, pair: tuple[str, str]) -> None:
    if pair[1] not in STOCK_UNITS:
        return
    try:
        millionths = to_millionths(parse_amount(value, pair[0]), pair[1])
    except (RoundsToNothing, AmountOutOfRange):
        return
    assert abs(millionths - convert(value, *pair) * 10**6) <= Fraction(1, 2)


@given(text=st.text(max_size=60))
def test_any_text_is_refused_or_taken_never_worse(text: str) -> None:
    find_unit(text)
    try:
        amount = parse_amount(text, "L")
    except (NotANumber, TooManyDecimals, AmountOutOfRange):
        return
    assert abs(amount.value) <= 10**12
