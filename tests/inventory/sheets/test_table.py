"""Whole sheets through the eyes of an importer."""

import contextlib
import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.errors import BadInput, Fault
from inventory.sheets import Column, FaultList, FaultySheet, Record, Table, find_duplicates, read_sheet
from inventory.units import Amount, WrongDimension

COLUMNS = [
    Column("span", ("Span ID",)),
    Column("size", ("Cable size",), is_required=False),
    Column("length", dimension="length", is_positive=True),
    Column("order", ("sequence",), kind="whole", is_required=False),
    Column("built", kind="date", is_required=False),
    Column("cost", ("unit cost",), kind="money", is_required=False, largest=Decimal(1000)),
    Column("is_aerial", ("aerial",), kind="boolean", is_required=False),
    Column("end", kind="choice", choices={"pedestal": ("ped",), "vault": ()}, is_required=False),
]


def read(tmp_path: Path, text: str, **options: Any) -> list[Record]:
    path = tmp_path / "spans.csv"
    path.write_text(text, encoding="utf-8")
    columns = options.pop("columns", COLUMNS)
    with read_sheet(path) as sheet:
        return Table(sheet, columns, **options).read_all()


def refuse(tmp_path: Path, text: str, **options: Any) -> list[Fault]:
    with pytest.raises(FaultySheet) as caught:
        read(tmp_path, text, **options)
    return list(caught.value.faults)


def test_table_reads_each_kind_of_cell(tmp_path: Path) -> None:
    header = "Span ID,Cable Sizes,LENGTH (ft),Sequence,Built,Unit cost,Aerial,End,Colour\n"
    record = read(tmp_path, header + ' S1 ,.500,"1,412.5",3,2026-08-07,$12.50,yes,PED,red\n', currency="USD")[
        0
    ]
    assert record.line == 2
    assert record.values == {
        "span": "S1",
        "size": ".500",
        "length": Amount(Decimal("1412.5"), "[ft_i]"),
        "order": 3,
        "built": date(2026, 8, 7),
        "cost": Decimal("12.5"),
        "is_aerial": True,
        "end": "pedestal",
    }


def test_table_gives_none_for_blank_cells_and_absent_columns(tmp_path: Path) -> None:
    record = read(tmp_path, "Span,Length (m),Built\nS1,5,\n", columns=[*COLUMNS[2:], Column("span")])[0]
    assert record["built"] is None
    assert record["order"] is None


def test_table_names_every_fault_of_every_row_in_one_go(tmp_path: Path) -> None:
    rows = ["S1,412,3,07/08/2026,perhaps,tree", ",412 ft,x,,,", "S3,9 ft,,,,"]
    text = "Span ID,Length,Sequence,Built,Aerial,End\n" + "\n".join(rows)
    faults = refuse(tmp_path, text)
    assert [(fault.line, fault.pointer, fault.value) for fault in faults] == [
        (2, "Length", "412"),
        (2, "Built", "07/08/2026"),
        (2, "Aerial", "perhaps"),
        (2, "End", "tree"),
        (3, "Span ID", ""),
        (3, "Sequence", "x"),
    ]
    assert faults[0].sentence().startswith("line 2, Length ('412'): has no unit")


def test_table_message_lists_the_first_faults_and_counts_the_rest(tmp_path: Path) -> None:
    with pytest.raises(FaultySheet, match=r"spans.csv has 12 faults: line 2, .*; and 7 more") as caught:
        read(tmp_path, "Span,Length\n" + "S1,none\n" * 12, columns=[Column("span"), COLUMNS[2]])
    assert caught.value.code == "faulty_sheet"


def test_table_caps_the_list_of_faults(tmp_path: Path) -> None:
    faults = refuse(tmp_path, "Span ID,Length\n" + "S1,none\n" * 5000)
    assert len(faults) == 1001
    assert faults[-1].message == "and 4000 more faults that are not listed"


def test_table_without_its_columns_reads_no_rows(tmp_path: Path) -> None:
    faults = refuse(tmp_path, "A,B\n" + "1,2\n" * 50)
    # What stands there instead is named too: a heading may only be misspelt.
    assert [fault.pointer for fault in faults] == ["Span ID", "length", "A", "B"]
    assert faults[0].line == 1


def test_table_with_a_header_only_says_so(tmp_path: Path) -> None:
    assert [fault.message for fault in refuse(tmp_path, "Span ID,Length\n")] == [
        "there are no rows below the header"
    ]


def test_table_names_a_ragged_row_once(tmp_path: Path) -> None:
    faults = refuse(tmp_path, "Span ID,Length\nS1\nS2,5 m,x\nS3,6 m\n")
    assert [(fault.line, fault.pointer) for fault in faults] == [(2, "row"), (3, "row")]


def test_table_reports_ignored_headers(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Span ID,Length,Colour\nS1,5 m,red\n")
    with read_sheet(path) as sheet:
        assert Table(sheet, COLUMNS).ignored_headers == ("Colour",)


def test_table_takes_units_from_cell_header_column_or_caller(tmp_path: Path) -> None:
    rows = read(
        tmp_path,
        "Span ID,Length,Length unit\nS1,412',\nS2,412,m\nS3,412 m,m\nS4,5,\n",
        default_units={"length": "[ft_i]"},
    )
    assert [record["length"].unit for record in rows] == ["[ft_i]", "m", "m", "[ft_i]"]
    faults = refuse(tmp_path, "Span ID,Length (ft),Length unit\nS1,412 m,\nS2,412,m\nS3,412,yards\n")
    assert "the cell says m, the header says ft" in faults[0].message
    assert "the header says ft, the unit column says m" in faults[1].message
    assert "'yards' beside it that is not known" in faults[2].message


def test_table_refuses_a_default_of_another_dimension(tmp_path: Path) -> None:
    with pytest.raises(WrongDimension):
        read(tmp_path, "Span ID,Length\n", default_units={"length": "kg"})


def test_table_reads_any_unit_where_the_column_has_no_dimension(tmp_path: Path) -> None:
    columns = [Column("material"), Column("quantity", kind="amount")]
    rows = read(
        tmp_path, "Material,Quantity,UOM\nfluid,55,gal\nprojectile,12,ea\nfibre,2000,ft\n", columns=columns
    )
    assert [record["quantity"].unit for record in rows] == ["[gal_us]", "1", "[ft_i]"]


@pytest.mark.parametrize(
    ("cells", "options", "values"),
    [
        (["1,234", "412"], {}, ["1234", "412"]),
        (["1,234", "12.5"], {}, ["1234", "12.5"]),
        (["1.234", "12,5"], {}, ["1234", "12.5"]),
        (["1.234", "412"], {"decimal_mark": ","}, ["1234", "412"]),
        (["1,234.5", "1.234,5"], {}, ["1234.5", "1234.5"]),
    ],
)
def test_table_lets_the_sheet_tell_what_a_comma_means(
    tmp_path: Path, cells: list[str], options: dict[str, Any], values: list[str]
) -> None:
    text = "Span ID\tLength (ft)\n" + "".join(f"S\t{cell}\n" for cell in cells)
    assert [str(record["length"].value) for record in read(tmp_path, text, **options)] == values


@pytest.mark.parametrize(
    "text",
    ["Span ID;Length (m)\nS1;1,234\nS2;412\n", "Span ID\tLength (m)\nS1\t1,234\nS2\t12.5\nS3\t12,5\n"],
)
def test_table_refuses_numbers_it_could_read_two_ways(tmp_path: Path, text: str) -> None:
    faults = refuse(tmp_path, text)
    assert [(fault.line, fault.value) for fault in faults] == [(2, "1,234")]
    assert "may be 1234 or 1.234" in faults[0].message


def test_table_takes_typed_numbers_of_a_workbook_as_they_are(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    for row in (["Span ID", "Length (m)", "Built"], ["S1", 1.234, date(2026, 8, 7)], ["S2", "12,5", None]):
        workbook.active.append(row)
    path = tmp_path / "a.xlsx"
    workbook.save(path)
    with read_sheet(path) as sheet:
        rows = Table(sheet, COLUMNS).read_all()
    assert [str(record["length"].value) for record in rows] == ["1.234", "12.5"]
    assert rows[0]["built"] == date(2026, 8, 7)


def test_table_lets_only_typed_text_tell_what_a_comma_means(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    for row in (["Span ID", "Length (m)"], ["S1", 1.5], ["S2", "12,5"], ["S3", "1,234"]):
        workbook.active.append(row)
    path = tmp_path / "a.xlsx"
    workbook.save(path)
    with read_sheet(path) as sheet:
        rows = Table(sheet, COLUMNS).read_all()
    assert [str(record["length"].value) for record in rows] == ["1.5", "12.5", "1.234"]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("S1,0 m,,", "is zero"),
        ("S1,-5 m,,", "is below zero"),
        ("S1,5 m,1000.01,", "is more than 1000"),
        ("S1,5 m,-1,", "is below zero"),
        ("S1,5 m,,-3", "is below zero"),
        (f"{'x' * 201},5 m,,", "at most 200 are kept"),
        (f"S1,{'5' * 81},,", "too many for what is expected"),
    ],
)
def test_table_refuses_values_out_of_range(tmp_path: Path, row: str, message: str) -> None:
    faults = refuse(tmp_path, f"Span ID,Length,Cost,Order\n{row}\n")
    assert len(faults) == 1
    assert message in faults[0].message


def test_make_fault_names_header_value_and_line(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Span ID,Cable size,Length\nS1,.999,5 m\n")
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        record = next(iter(table))
        fault = table.make_fault(record, "size", "is not a size we know")
        assert fault == Fault("Cable size", ".999", "is not a size we know", 2)
        assert table.make_fault(record, "built", "x").pointer == "built"
        table.faults.add(fault)
        with pytest.raises(FaultySheet, match=r"has 1 fault: line 2, Cable size \('.999'\): is not a size"):
            table.raise_if_faulty()


def test_find_duplicates_names_the_first_line() -> None:
    faults = find_duplicates([(2, "S1"), (3, "S2"), (4, "S1"), (9, "S1")], pointer="Span", what="span")
    assert [(fault.line, fault.value) for fault in faults] == [(4, "S1"), (9, "S1")]
    assert faults[0].message == "the same span is already on line 2"
    assert find_duplicates([(2, ("A", 1)), (3, ("A", 1))], pointer="x")[0].value == "A, 1"


def test_fault_list_without_faults_raises_nothing() -> None:
    FaultList().raise_if_any("a.csv")


@given(content=st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_never_worse(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    path = tmp_path_factory.mktemp("any") / "a.csv"
    path.write_bytes(b"Span ID,Length\n" + content)
    with contextlib.suppress(BadInput), read_sheet(path) as sheet:
        records = Table(sheet, COLUMNS).read_all()
        assert all(record["span"] and record["length"].value > 0 for record in records)


def test_features_pass_through_a_table(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    feature = {"type": "Feature", "properties": {"span_id": "S1", "length_ft": 1.234}, "geometry": None}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with read_sheet(path) as sheet:
        table = Table(sheet, COLUMNS)
        assert table.read_all()[0]["length"] == Amount(Decimal("1.234"), "[ft_i]")
        assert table.ignored_headers == ("measured length (m)",)


def test_raise_if_faulty_names_headings_that_were_not_understood(tmp_path: Path) -> None:
    place = tmp_path / "spans.csv"
    place.write_text("Span,Length (ft),Colour\nS1,many,red\n")
    with read_sheet(place) as sheet, pytest.raises(FaultySheet) as refusal:
        Table(sheet, COLUMNS).read_all()
    faults = {fault.pointer: fault.message for fault in refusal.value.faults}
    assert "no heading that is understood" in faults["Colour"]


def test_table_notes_what_may_be_a_thousand_times_too_much(tmp_path: Path) -> None:
    place = tmp_path / "spans.csv"
    place.write_text('Span;Length (ft)\nS1;"12,5"\nS2;1.200\n')
    with read_sheet(place) as sheet:
        table = Table(sheet, COLUMNS)
        assert [int(record["length"].value) for record in table.read_all()] == [12, 1200]
    [doubt] = table.doubtful
    assert (doubt.line, doubt.value) == (3, "1.200")
    assert "was read as 1200" in doubt.message
