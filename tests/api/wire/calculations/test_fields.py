"""Reading requests: what is taken, what is refused, and that every fault is named at once."""

from fractions import Fraction
from typing import Any

import pytest

from api.wire.calculations.faults import Faults, Place, naming_the_field
from api.wire.calculations.fields import (
    Choice,
    Field,
    Flag,
    Keyed,
    Limits,
    Listing,
    Number,
    Record,
    Row,
    Text,
    Whole,
    read_decimal,
)
from api.wire.calculations.quantities import Quantity, QuantityField, UnitOfAnswer, quantity_answer
from inventory.errors import BadInput


def _read(field: Field, value: Any) -> tuple[Any, list[str]]:
    faults = Faults()
    read = field.read(value, Place(), faults)
    return read, [fault.pointer for fault in faults.found]


@pytest.mark.parametrize(
    ("value", "number"),
    [
        (1, 1),
        (0.1, Fraction(1, 10)),
        ("0.1", Fraction(1, 10)),
        ("-3", -3),
        ("+2.50", Fraction(5, 2)),
        ("1e3", 1000),
        (".5", Fraction(1, 2)),
    ],
)
def test_read_decimal_takes_numbers_and_decimal_strings_exactly(value: Any, number: Fraction | int) -> None:
    assert read_decimal(value) == number


@pytest.mark.parametrize(
    "value",
    [
        True,
        None,
        "",
        " 1",
        "1,5",
        "1_000",
        "NaN",
        "inf",
        "0x10",
        "١",
        "1e999",
        "1/3",
        float("nan"),
        [],
        {},
        "9" * 41,
    ],
)
def test_read_decimal_takes_nothing_else(value: Any) -> None:
    assert read_decimal(value) is None


@pytest.mark.parametrize("value", [10**200, "1e99", 1e300])
def test_number_refuses_what_would_overflow(value: Any) -> None:
    assert _read(Number(), value)[1] == ([] if value == "1e99" else [""])


@pytest.mark.parametrize(
    ("limits", "good", "bad"),
    [
        (Limits(above=0), 0.001, 0),
        (Limits(least=0), 0, -0.001),
        (Limits(below=1), 0.999, 1),
        (Limits(most=1), 1, 1.001),
    ],
)
def test_number_keeps_its_limits(limits: Limits, good: float, bad: float) -> None:
    assert _read(Number(limits=limits), good) == (good, [])
    assert _read(Number(limits=limits), bad) == (None, [""])


@pytest.mark.parametrize(
    ("field", "good", "bad"),
    [
        (Whole(), "12", 1.5),
        (Flag(), False, 0),
        (Text(), "a", ""),
        (Text(longest=2), "ab", "abc"),
        (Text(), "7", 7),
        (Choice(options=("a", "b")), "a", "c"),
        (Listing(item=Number(), fewest=1, most=2), [1], [1, 2, 3]),
        (Listing(item=Number()), [], "12"),
        (Row(items=(Number(), Text())), [1, "a"], [1]),
        (Keyed(item=Number()), {"a": 1}, [1]),
        (Keyed(item=Number()), {"a": 1}, {"": 1}),
        (Record(fields={"a": Number()}), {"a": 1}, []),
    ],
)
def test_field_takes_the_good_and_refuses_the_bad(field: Field, good: Any, bad: Any) -> None:
    assert _read(field, good)[1] == []
    assert _read(field, bad)[1] == [""]


def test_text_takes_a_whole_number_as_an_id() -> None:
    assert _read(Text(is_id=True), 7) == ("7", [])


def test_record_names_every_fault_by_its_pointer() -> None:
    field = Record(
        fields={
            "rows": Listing(item=Row(items=(Number(), Number()))),
            "by/id": Keyed(item=Number(limits=Limits(least=0))),
            "must": Number(),
        }
    )
    value = {"rows": [[1, 2], [3, "x"]], "by/id": {"~a": -1}, "surplus": None}
    assert sorted(_read(field, value)[1]) == ["/by~1id/~0a", "/must", "/rows/1/1", "/surplus"]


def test_record_gives_the_default_of_what_is_left_out_but_not_of_null() -> None:
    field = Record(fields={"a": Number(default=3.0), "b": Number(default=None, may_be_null=True)})
    assert _read(field, {}) == ({"a": 3.0, "b": None}, [])
    assert _read(field, {"a": None})[1] == ["/a"]
    assert _read(field, {"b": None})[1] == []


def test_faults_stop_at_a_hundred() -> None:
    assert len(_read(Listing(item=Number()), ["x"] * 500)[1]) == 100


def test_quantity_field_reads_exactly_and_checks_in_the_base_unit() -> None:
    field = QuantityField(dimension="length", limits=Limits(above=0, most=1))
    read, faults = _read(field, {"value": "3", "unit": "[ft_i]"})
    assert (read, faults) == (Quantity(value=Fraction(3), unit="[ft_i]"), [])
    assert read.exact_in("m") == Fraction("0.9144")
    assert _read(field, {"value": "4", "unit": "[ft_i]"})[1] == ["/value"]
    assert _read(field, {"value": "4", "unit": "kg"})[1] == ["/unit"]
    assert _read(field, {"unit": "m"})[1] == ["/value"]


def test_quantity_answer_writes_a_decimal_without_an_exponent() -> None:
    assert quantity_answer(1e-9, "m3") == {"value": "0.000000001", "unit": "m3"}
    assert quantity_answer(0.003785411784, "[gal_us]") == {"value": "1.0", "unit": "[gal_us]"}


def test_unit_of_answer_refuses_a_plain_number_beside_a_quantity() -> None:
    unit = UnitOfAnswer()
    unit.take(Fraction(1))
    with pytest.raises(ValueError, match="not both"):
        unit.take(Quantity(value=Fraction(1), unit="m"))


def test_unit_of_answer_gives_the_unit_of_the_first() -> None:
    unit = UnitOfAnswer()
    assert unit.take(Quantity(value=Fraction(2), unit="[ft_i]")) == 2
    assert unit.take(Quantity(value=Fraction("0.3048"), unit="m")) == 1
    assert unit.give(Fraction(3)) == {"value": "3.0", "unit": "[ft_i]"}


@pytest.mark.parametrize(
    ("message", "pointer"),
    [
        ("bore must be above 0", "/bore"),
        ("bore_mm must be above 0", "/bore"),
        ("demand_rate, taken with bore", "/demand_rate"),
        ("something else", ""),
    ],
)
def test_naming_the_field_points_at_the_field_a_calculation_speaks_of(message: str, pointer: str) -> None:
    with pytest.raises(BadInput) as refusal, naming_the_field(["bore", "demand_rate"]):
        raise ValueError(message)
    assert [fault.pointer for fault in refusal.value.faults] == [pointer]
