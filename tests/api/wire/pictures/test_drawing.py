"""A drawing is sound SVG whatever people call their things, and says in words what it shows."""

from xml.etree import ElementTree

import pytest

from api.wire.pictures.drawing import Column, Drawing, PictureTable

SVG = "{http://www.w3.org/2000/svg}"


def make_drawing() -> Drawing:
    return Drawing(200, 100, "Reels <of> today", 'What is "left" & cut')


def parse(drawing: Drawing) -> ElementTree.Element:
    return ElementTree.fromstring(drawing.to_svg())


@pytest.mark.outside_check("SVG 1.1, 5.4 'title' and 'desc'; how known: from memory")
def test_to_svg_has_title_and_description_first():
    root = parse(make_drawing())
    assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert root[0].text == "Reels <of> today"
    assert root.get("role") == "img"


def test_add_text_escapes_what_people_write():
    drawing = make_drawing()
    drawing.add_text(1, 2, '</text><script>alert("1")</script>\x00&')
    root = parse(drawing)
    assert root.find(f".//{SVG}script") is None
    assert root.find(f"{SVG}text").text == '</text><script>alert("1")</script>&'


def test_add_rectangle_says_its_hint_and_hatches():
    drawing = make_drawing()
    drawing.add_rectangle(0, 0, 10, 5, hint="12 ft & lost", is_hatched=True)
    root = parse(drawing)
    assert root.find(f"{SVG}rect/{SVG}title").text == "12 ft & lost"
    assert root.find(f".//{SVG}pattern") is not None


def test_add_path_closes_an_area():
    drawing = make_drawing()
    drawing.add_path([(0, 0), (10, 0.004), (10, -0.001)], is_closed=True)
    assert parse(drawing).find(f"{SVG}path").get("d") == "M0 0 L10 0 L10 0 Z"


def test_add_path_draws_nothing_without_points():
    drawing = make_drawing()
    drawing.add_path([])
    assert parse(drawing).find(f"{SVG}path") is None


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_drawing_refuses_a_number_that_is_not_finite(value):
    with pytest.raises(ValueError, match="not finite"):
        make_drawing().add_line((0, 0), (value, 1))


def test_add_legend_puts_its_entries_beside_each_other():
    drawing = make_drawing()
    after_first = drawing.add_legend(0, 20, [("first", "used")])
    assert drawing.add_legend(after_first, 20, [("spare", "left")]) > after_first > 20


def test_to_svg_leaves_the_style_to_a_page_that_has_it():
    assert "<style>" in make_drawing().to_svg()
    assert "<style>" not in make_drawing().to_svg(has_style=False)


def test_picture_table_refuses_a_row_that_lacks_a_column():
    with pytest.raises(ValueError, match="row 2"):
        PictureTable("Reels", [Column("reel", "Reel")], [{"reel": "R-1"}, {"length": "5"}])
