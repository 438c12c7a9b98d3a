"""GeoJSON: one feature, one row; its properties are the cells.

Where no property is a length, the length of the line is measured along the WGS 84 ellipsoid, in plan: what
the ground rises and what hangs or loops is not in it.
"""

import json
import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from inventory.errors import Fault
from inventory.sheets.sheet import RowSpool, Sheet, UnreadableSheet, check_headers, shorten

MEASURED_LENGTH = "Length (m)"
MEASURED_BESIDE = "measured length (m)"

WGS84_SEMI_MAJOR_M = 6_378_137.0
WGS84_FLATTENING = 1 / 298.257223563
# A span has one cable without a break; a longer step between two points means other coordinates than degrees.
LONGEST_STEP_M = 20_000.0


class TypedNumber(str):
    """A number of the file as the text that stands there; a float would change it."""


def open_features(path: Path) -> Sheet:
    """Read a FeatureCollection into a spool of rows; `line` of a row is the number of its feature."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableSheet("the file is not UTF-8, as GeoJSON must be; save it again") from error
    spool = RowSpool()
    positions: dict[str, int] = {"": 0}
    try:
        for number, feature in enumerate(_features(text), start=1):
            _take_feature(spool, positions, number, feature)
    except (json.JSONDecodeError, RecursionError) as error:
        spool.close()
        raise UnreadableSheet(f"the file is not sound GeoJSON: {error}") from error
    if not spool.count:
        spool.close()
        raise UnreadableSheet("the file holds no features; a FeatureCollection of LineStrings is read")
    names = list(positions)[1:]
    has_length = any("length" in name.casefold() for name in names)
    headers = check_headers([MEASURED_BESIDE if has_length else MEASURED_LENGTH, *names])
    return Sheet(path.name, 1, headers, lambda: spool.read(headers), close=spool.close)


def _features(text: str) -> Iterator[Any]:
    """Yield one feature after the other, so that only one is held besides the text."""
    decoder = json.JSONDecoder(parse_float=TypedNumber, parse_int=TypedNumber, parse_constant=TypedNumber)
    at = _expect(text, 0, "{")
    while text[at : at + 1] != "}":
        key, at = decoder.raw_decode(text, at)
        at = _expect(text, at, ":")
        if key == "features":
            at = _expect(text, at, "[")
            while text[at : at + 1] != "]":
                feature, at = decoder.raw_decode(text, at)
                yield feature
                at = _skip_separator(text, at, "]")
            at += 1
        else:
            _, at = decoder.raw_decode(text, at)
        at = _skip_separator(text, at, "}")


def _expect(text: str, at: int, mark: str) -> int:
    at = _skip_blank(text, at)
    if text[at : at + 1] != mark:
        raise json.JSONDecodeError(f"{mark!r} expected", text, at)
    return _skip_blank(text, at + 1)


def _skip_separator(text: str, at: int, closing: str) -> int:
    at = _skip_blank(text, at)
    return at if text[at : at + 1] == closing else _expect(text, at, ",")


def _skip_blank(text: str, at: int) -> int:
    while text[at : at + 1] and text[at] in " \t\r\n":
        at += 1
    return at


def _take_feature(spool: RowSpool, positions: dict[str, int], number: int, feature: Any) -> None:
    faults: list[Fault] = []
    cells = {0: ""}
    numbers = [0]
    if not isinstance(feature, dict) or not isinstance(feature.get("properties") or {}, dict):
        faults.append(Fault("feature", shorten(str(feature)), "is not a feature with properties", number))
        feature = {}
    properties = dict(feature.get("properties") or {})
    if "id" in feature:
        properties.setdefault("id", feature["id"])
    for name, value in properties.items():
        position = positions.setdefault(name, len(positions))
        cells[position] = _write_property(value)
        if isinstance(value, TypedNumber):
            numbers.append(position)
    try:
        cells[0] = _measure(feature.get("geometry"))
    except ValueError as error:
        faults.append(Fault("geometry", "", str(error), number))
    # Cells of features before a name was first met are filled up when the spool is read.
    texts = [cells.get(position, "") for position in range(max(cells) + 1)]
    spool.add(number, texts, numbers, faults)


def _write_property(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _measure(geometry: Any) -> str:
    if geometry is None:
        return ""
    if not isinstance(geometry, dict) or geometry.get("type") != "LineString":
        kind = geometry.get("type") if isinstance(geometry, dict) else geometry
        raise ValueError(f"a span is one LineString, not {kind}; split or join it where it comes from")
    points = [_read_point(point) for point in geometry.get("coordinates") or ()]
    if len(points) < 2:
        raise ValueError("a LineString needs two points or more")
    return f"{line_length_m(points):.3f}"


def _read_point(point: Any) -> tuple[float, float]:
    try:
        longitude, latitude = float(point[0]), float(point[1])
    except (TypeError, ValueError, IndexError, KeyError):
        raise ValueError(f"{shorten(str(point))} is not a point [longitude, latitude]") from None
    if not (abs(longitude) <= 180 and abs(latitude) <= 90):
        raise ValueError(
            f"[{point[0]}, {point[1]}] is not longitude and latitude in degrees (WGS 84); "
            "export the file in that reference system"
        )
    return longitude, latitude


def line_length_m(points: list[tuple[float, float]]) -> float:
    """Length of a line of short steps on the WGS 84 ellipsoid, in plan.

    Each step is the hypotenuse of M dphi and N cos(phi) dlambda, with the radii of curvature in the meridian,
    M = a (1 - e^2) / (1 - e^2 sin^2 phi)^(3/2), and in the prime vertical, N = a / (1 - e^2 sin^2 phi)^(1/2),
    at the step's mean latitude phi.

    Parameters
    ----------
    points : list of (longitude, latitude)
        At least two, -180..180 and -90..90 [degree]

    Returns
    -------
    float
        Length [m]; within 1e-6 of the geodesic for steps up to 20 km away from the poles

    Raises
    ------
    ValueError
        If a step is longer than 20 km.

    References
    ----------
    .. [1] NIMA TR8350.2, World Geodetic System 1984 (semi-major axis and flattening).
    """
    squared_eccentricity = WGS84_FLATTENING * (2 - WGS84_FLATTENING)
    total = 0.0
    for (longitude, latitude), (next_longitude, next_latitude) in pairwise(points):
        middle = math.radians((latitude + next_latitude) / 2)
        shrinking = 1 - squared_eccentricity * math.sin(middle) ** 2
        meridian = WGS84_SEMI_MAJOR_M * (1 - squared_eccentricity) / shrinking**1.5
        vertical = WGS84_SEMI_MAJOR_M / math.sqrt(shrinking)
        turn = (next_longitude - longitude + 180) % 360 - 180
        north = meridian * math.radians(next_latitude - latitude)
        step = math.hypot(north, vertical * math.cos(middle) * math.radians(turn))
        if step > LONGEST_STEP_M:
            raise ValueError(
                f"two neighbouring points are {step / 1000:.0f} km apart, too far for a span; "
                "check the coordinates"
            )
        total += step
    return total
