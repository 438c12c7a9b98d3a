"""The picture of recovery by cable size says what its table says, and is calm where little is known."""

from datetime import UTC, datetime
from xml.etree import ElementTree

import pytest

from api.wire.pictures.drawing import Picture
from api.wire.pictures.recovery import draw_recovery
from jobs.models import RecoveryDrift, RecoveryRate
from jobs.queries.recovery_rates import RatedGroup

SVG = "{http://www.w3.org/2000/svg}"


def rated(
    name: str,
    ratio: float,
    interval: tuple[float, float] | None = None,
    *,
    group: str = "size",
    readings: int = 12,
    is_drifting: bool = False,
) -> RatedGroup:
    rate = RecoveryRate(
        group=group,
        name=name,
        ratio=ratio,
        low=interval[0] if interval else None,
        high=interval[1] if interval else None,
        readings=readings,
        spans=readings + 2,
        injected_m3=1.2,
        recovered_m3=1.2 * ratio,
        confidence=0.95,
        computed_at=datetime(2026, 3, 1, tzinfo=UTC),
    )
    return RatedGroup(rate, [RecoveryDrift()] if is_drifting else [])


def texts(picture: Picture) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(picture.svg).iter(f"{SVG}text")]


def circles(picture: Picture) -> list[tuple[float, str]]:
    nodes = ElementTree.fromstring(picture.svg).iter(f"{SVG}circle")
    return [(float(node.attrib["cx"]), node.attrib["class"]) for node in nodes]


def bars(picture: Picture) -> list[tuple[float, float]]:
    nodes = ElementTree.fromstring(picture.svg).iter(f"{SVG}line")
    return [(float(n.attrib["x1"]), float(n.attrib["x2"])) for n in nodes if n.attrib["stroke-width"] == "3"]


def test_draw_recovery_writes_the_numbers_of_its_table() -> None:
    picture = draw_recovery([rated(".500", 0.914, (0.89, 0.938)), rated("", 0.9, (0.88, 0.92), group="all")])
    assert {".500", "91.4% (89% to 94%)", "all", "90.0% (88% to 92%)", "12 readings"} <= set(texts(picture))
    first = picture.table.rows[0]
    assert (first["ratio"], first["low"], first["high"], first["injected"]) == (
        "91.4",
        "89.0",
        "93.8",
        "1,200",
    )
    assert "of what was injected came back: .500 91.4%" in picture.svg.replace("Of", "of")


def test_draw_recovery_places_dots_between_the_ends_of_their_bars() -> None:
    picture = draw_recovery([rated(".500", 0.9, (0.85, 0.95)), rated(".625", 0.8, (0.7, 0.9))])
    (first, _), (second, _) = circles(picture)
    (low, high), (low2, high2) = bars(picture)
    assert first == pytest.approx((low + high) / 2, abs=0.02)
    assert second == pytest.approx((low2 + high2) / 2, abs=0.02)
    assert second < first
    assert high2 == pytest.approx(first, abs=0.02)


def test_draw_recovery_says_in_words_who_differs_and_what_is_out_of_bounds() -> None:
    picture = draw_recovery(
        [rated(".500", 0.9, (0.85, 0.95), is_drifting=True), rated(".625", 0.4, (0.3, 0.5))]
    )
    assert {"begins to differ", "out of bounds"} <= set(texts(picture))
    hollow, full = circles(picture)
    assert hollow[1] == "f-surface s-alarm"
    assert full[1] == "f-alarm s-surface"
    assert [row["remark"] for row in picture.table.rows] == [
        "begins to differ",
        "less than half of what was injected came back",
    ]


def test_draw_recovery_without_interval_has_a_dot_only() -> None:
    picture = draw_recovery([rated(".500", 1.02, readings=1)])
    assert bars(picture) == []
    assert {"102.0%, no interval", "1 reading"} <= set(texts(picture))
    assert (picture.table.rows[0]["low"], picture.table.rows[0]["high"]) == ("", "")


def test_draw_recovery_lets_a_wide_bar_leave_the_sheet() -> None:
    narrow = draw_recovery([rated(".500", 0.9, (0.85, 0.95))])
    picture = draw_recovery([rated(".500", 0.9, (0.85, 0.95)), rated("1.160", 0.9, (0.1, 2.4))])
    assert bars(picture)[0] == bars(narrow)[0]
    assert bars(picture)[1][1] - bars(picture)[1][0] == pytest.approx(202)
    assert "90.0% (10% to 240%)" in texts(picture)


def test_draw_recovery_of_nothing_says_so() -> None:
    picture = draw_recovery([])
    assert "No span was fully extracted yet." in texts(picture)
    assert picture.table.rows == []
