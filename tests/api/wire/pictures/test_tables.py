"""A picture's table says the same numbers in JSON and in HTML."""

from api.wire.pictures.drawing import Column, Picture, PictureTable
from api.wire.pictures.tables import picture_body, picture_table_html

TABLE = PictureTable(
    "Reels", [Column("reel", "Reel"), Column("left", "Left", "ft")], [{"reel": "<R>", "left": "5"}]
)


def test_picture_body_holds_the_drawing_and_its_numbers():
    body = picture_body(Picture("<svg/>", TABLE))
    assert body["svg"] == "<svg/>"
    assert body["table"]["columns"][1] == {"key": "left", "title": "Left", "unit": "ft"}
    assert body["table"]["rows"] == [{"reel": "<R>", "left": "5"}]


def test_picture_table_html_escapes_and_names_units():
    html = picture_table_html(TABLE)
    assert "<td>&lt;R&gt;</td><td>5</td>" in html
    assert '<th scope="col">Left, ft</th>' in html
