"""Headers as people spell them."""

import pytest

from inventory.sheets import Column, match_columns

COLUMNS = [
    Column("span", ("Span ID", "span number")),
    Column("length", ("Span length",), dimension="length"),
    Column("bore_mm", ("Bore", "inside diameter"), dimension="length", is_required=False),
    Column("volume", dimension="volume", is_required=False),
    Column("note", ("remark",), is_required=False),
]


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("length", None), ("LENGTH", None), (" Lengths ", None), ("Span_Length", None),
        ("span-lengths", None),
        ("SpanLength", None), ("Length:", None), ("Len gth", None), ("Lengthy", "missing"),
        ("Length (ft)", "[ft_i]"), ("length_ft", "[ft_i]"), ("length [m]", "m"), ("Length, mm", "mm"),
        ("LENGTH FEET", "[ft_i]"), ("Length/ft", "[ft_i]"), ("Length (ft.)", "[ft_i]"),
        ("Length [ft_i]", "[ft_i]"),
        ("Length in ft", "[ft_i]"), ("length_in_m", "m"), ("Length in", "[in_i]"), ("lengthFt", "[ft_i]"),
        ("Length (')", "[ft_i]"), ("Length '", "[ft_i]"),  ("'Length'", None), ("Span length - m", "m"),
        ("Length {m}", "m"), ("Length\n(m)", "m"),
    ],
)  # fmt: skip
def test_match_columns_finds_lengths_and_their_units(header: str, unit: str | None) -> None:
    match = match_columns(["Span", header], COLUMNS)
    if unit == "missing":
        assert [fault.pointer for fault in match.faults] == ["Span length"]
        return
    assert match.faults == []
    assert match.positions == {"span": 0, "length": 1}
    assert match.header_units.get("length") == unit


@pytest.mark.parametrize("header", ["Bore″", 'Bore "', "Bore (″)", "Bore in.", "bore_in"])
def test_match_columns_tells_inches_from_feet(header: str) -> None:
    assert match_columns(["Span", "Length", header], COLUMNS).header_units == {"bore_mm": "[in_i]"}


def test_match_columns_takes_units_of_two_words() -> None:
    match = match_columns(["Span", "Length", "Volume US gal"], COLUMNS)
    assert match.header_units == {"volume": "[gal_us]"}


def test_match_columns_reports_what_it_ignores() -> None:
    match = match_columns(["Span", "Length", "Colour", "", "Lengthy remarks", "Volume extra"], COLUMNS)
    assert match.ignored == ["Colour", "Lengthy remarks", "Volume extra"]
    assert match.faults == []


def test_match_columns_takes_a_remark_in_brackets_beside_a_plain_name() -> None:
    assert match_columns(["Span (as on the map)", "Length"], COLUMNS).positions["span"] == 0


def test_match_columns_names_the_spellings_of_a_missing_column() -> None:
    match = match_columns(["Span"], COLUMNS, line=3)
    fault = match.faults[0]
    assert (fault.pointer, fault.line) == ("Span length", 3)
    assert fault.message == "the column is missing; name it one of 'Span length', 'length'"


@pytest.mark.parametrize("second", ["Length (m)", "span length", "length"])
def test_match_columns_refuses_two_headers_for_one_column(second: str) -> None:
    faults = match_columns(["Span", "Length", second], COLUMNS).faults
    assert [fault.message for fault in faults] == [
        f"two columns say the same: 'Length' and {second!r}; keep one of them"
    ]


@pytest.mark.parametrize(
    ("header", "message"),
    [("Length (yd)", "the unit 'yd' is not known"), ("Length (kg)", "kg is a unit of mass, not of length")],
)
def test_match_columns_refuses_a_unit_it_would_have_to_drop(header: str, message: str) -> None:
    faults = match_columns(["Span", header], COLUMNS).faults
    assert len(faults) == 1
    assert message in faults[0].message


@pytest.mark.parametrize("header", ["Length unit", "Unit of length", "length_units", "Span length unit"])
def test_match_columns_finds_a_column_of_units(header: str) -> None:
    assert match_columns(["Span", "Length", header], COLUMNS).unit_positions == {"length": 2}


def test_match_columns_takes_a_plain_unit_column_where_only_one_can_be_meant() -> None:
    single = [Column("quantity", kind="amount")]
    assert match_columns(["Quantity", "UOM"], single).unit_positions == {"quantity": 1}
    assert match_columns(["Span", "Length", "Unit"], COLUMNS).ignored == ["Unit"]


def test_match_columns_refuses_a_specification_that_contradicts_itself() -> None:
    with pytest.raises(ValueError, match="two columns are spelled"):
        match_columns([], [Column("length"), Column("size", ("Lengths",))])
