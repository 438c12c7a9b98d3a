"""GeoJSON as span lists."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from inventory.sheets import Column, Row, Table, UnreadableSheet, read_sheet
from inventory.sheets.features import line_length_m


def write(tmp_path: Path, features: list[Any], **extra: Any) -> Path:
    path = tmp_path / "spans.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", **extra, "features": features}, indent=1))
    return path


def line(properties: Any, coordinates: Any = ((0, 0), (0, 0.001)), **extra: Any) -> dict[str, Any]:
    geometry = {"type": "LineString", "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry, **extra}


def read(path: Path) -> list[Row]:
    with read_sheet(path) as sheet:
        return list(sheet)


def test_read_sheet_makes_a_row_of_each_feature(tmp_path: Path) -> None:
    features = [
        line({"span": "S1", "size": ".500"}),
        line({"span": "S2", "aerial": True, "n": 1.10, "x": None}),
    ]
    rows = read(write(tmp_path, features, name="west", crs={"type": "name"}))
    assert [row.line for row in rows] == [1, 2]
    assert rows[0].cells == {
        "Length (m)": "110.574",
        "span": "S1",
        "size": ".500",
        "aerial": "",
        "n": "",
        "x": "",
    }
    assert rows[1].cells["aerial"] == "yes"
    assert rows[1].headers[rows[1].texts.index("1.1")] == "n"


def test_read_sheet_steps_back_where_a_length_is_given(tmp_path: Path) -> None:
    rows = read(write(tmp_path, [line({"span": "S1", "Length (ft)": 412})]))
    assert rows[0].cells == {"measured length (m)": "110.574", "span": "S1", "Length (ft)": "412"}


def test_read_sheet_keeps_numbers_as_they_stand(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text(
        '{"features": [{"type": "Feature", "geometry": null, '
        '"properties": {"a": 0.30000000000000000001, "b": "1.2"}}]}'
    )
    row = read(path)[0]
    assert row.cells == {"Length (m)": "", "a": "0.30000000000000000001", "b": "1.2"}
    assert row.headers.index("a") in row.numbers
    assert row.headers.index("b") not in row.numbers


def test_read_sheet_shows_half_characters_as_something_that_can_be_printed(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text(r'{"features": [{"geometry": null, "properties": {"a": "\ud800", "b\ud800": "\u0000"}}]}')
    with read_sheet(path) as sheet:
        table = Table(sheet, [Column("a")])
        list(table)
    assert [(fault.value, fault.message) for fault in table.faults.kept] == [
        ("?", "holds control characters; type it again")
    ]
    assert "b?" in table.ignored_headers


def test_read_sheet_takes_the_id_of_a_feature(tmp_path: Path) -> None:
    rows = read(write(tmp_path, [line({"span": "S1"}, id=7), line({"id": "own"}, id=8)]))
    assert [row.cells["id"] for row in rows] == ["7", "own"]


@pytest.mark.parametrize(
    ("feature", "reason"),
    [
        (
            {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [0, 0]}},
            "not Point",
        ),
        (line({}, [[0, 0]]), "two points or more"),
        (line({}, [[500_000, 4_500_000], [500_100, 4_500_000]]), "not longitude and latitude"),
        (line({}, [[0, 0], [0, 1]]), "111 km apart"),
        (line({}, [[0, 0], ["x", 1]]), "is not a point"),
        (line({}, [[0, 0], 7]), "is not a point"),
        (line({}, 7), "is not a point|two points"),
        (line(["S1"]), "not a feature with properties"),
        ("S1", "not a feature with properties"),
    ],
)
def test_read_sheet_names_features_that_are_no_spans(tmp_path: Path, feature: Any, reason: str) -> None:
    row = read(write(tmp_path, [feature]))[0]
    assert any(re.search(reason, fault.message) for fault in row.faults)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("{", "not sound GeoJSON"),
        ('{"features": [', "not sound GeoJSON"),
        ('{"features": [{}', "not sound GeoJSON"),
        ('{"features": {}}', "not sound GeoJSON"),
        ('{"features": []}', "no features"),
        ('{"type": "Feature"}', "no features"),
        ('{"features": ' + "[" * 100_000, "not sound GeoJSON"),
    ],
)
def test_read_sheet_refuses_what_is_no_collection(tmp_path: Path, text: str, reason: str) -> None:
    path = tmp_path / "a.geojson"
    path.write_text(text)
    with pytest.raises(UnreadableSheet, match=reason):
        read_sheet(path)


def test_read_sheet_refuses_geojson_that_is_not_utf8(tmp_path: Path) -> None:
    path = tmp_path / "a.geojson"
    path.write_bytes('{"features": [{"properties": {"a": "\xe9"}}]}'.encode("cp1252"))
    with pytest.raises(UnreadableSheet, match="not UTF-8"):
        read_sheet(path)


@pytest.mark.outside_check(
    "length of a degree of latitude and of longitude on WGS 84, published tables (110.574 km and 111.320 km "
    "at the equator; 111.132 km and 78.847 km at 45 degrees) ; how known: from memory"
)
@pytest.mark.parametrize(
    ("latitude", "north_m_per_degree", "east_m_per_degree"), [(0, 110_574, 111_320), (45, 111_132, 78_847)]
)
def test_line_length_m_is_the_published_length_of_a_degree(
    latitude: float, north_m_per_degree: float, east_m_per_degree: float
) -> None:
    north = line_length_m([(10, latitude - 0.05), (10, latitude + 0.05)])
    east = line_length_m([(9.95, latitude), (10.05, latitude)])
    # The tables print whole metres per degree.
    assert north * 10 == pytest.approx(north_m_per_degree, abs=1)
    assert east * 10 == pytest.approx(east_m_per_degree, abs=1)


def test_line_length_m_adds_steps_and_crosses_the_date_line() -> None:
    there_and_back = line_length_m([(179.999, 10), (-179.999, 10), (179.999, 10)])
    assert there_and_back == pytest.approx(2 * line_length_m([(0, 10), (0.002, 10)]))
