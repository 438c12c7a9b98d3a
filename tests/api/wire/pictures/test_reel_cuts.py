"""The cuts drawn to scale, named, and told in a table that adds up."""

from xml.etree import ElementTree

import pytest

from api.wire.pictures.reel_cuts import ReelBar, draw_reel_cuts

SVG = "{http://www.w3.org/2000/svg}"
REELS = [
    ReelBar("NF-<3>", 3000.0, [("Blow run R1", 1200.0), ("Blow run R2", 800.0)]),
    ReelBar("NF-4", 1500.0, [("Blow run R3", 1500.0)]),
]


def test_draw_reel_cuts_is_to_scale() -> None:
    root = ElementTree.fromstring(draw_reel_cuts(REELS, unit="ft").svg)
    widths = {
        box.find(f"{SVG}title").text: float(box.get("width"))  # type: ignore[union-attr, arg-type]
        for box in root.iter(f"{SVG}rect")
        if box.find(f"{SVG}title") is not None
    }
    assert widths["Blow run R1: 1,200.0 ft"] / widths["Blow run R2: 800.0 ft"] == pytest.approx(1.5, rel=1e-3)
    assert widths["left: 1,000.0 ft"] / widths["Blow run R3: 1,500.0 ft"] == pytest.approx(2 / 3, rel=1e-3)
    assert "left: 0.0 ft" not in widths


def test_draw_reel_cuts_tells_the_same_in_its_table() -> None:
    picture = draw_reel_cuts(REELS, unit="ft")
    rows = [row for row in picture.table.rows if row["reel"] == "NF-<3>"]
    assert [row["length"] for row in rows] == ["1,200.0", "800.0", "1,000.0"]
    assert "NF-&lt;3&gt;: 2 cuts, 1,000.0 ft left; NF-4: 1 cut, 0.0 ft left" in picture.svg


def test_draw_reel_cuts_says_that_nothing_is_cut() -> None:
    assert "Nothing is cut." in draw_reel_cuts([], unit="m").svg
