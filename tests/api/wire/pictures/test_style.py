"""Colours that can be told from their ground in light and in dark, and text that keeps to its room."""

import pytest

from api.wire.pictures.style import DARK, LIGHT, fit_text, make_stylesheet, measure_text, wrap_text


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.outside_check("WCAG 2.2, 1.4.3 and 1.4.11: 4.5 for text, 3 for shapes; how known: from memory")
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_colours_stand_out_from_their_ground(colours):
    for ground in ("surface", "panel"):
        for text in ("ink", "quiet"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for shape in ("first", "second", "third", "fourth", "alarm"):
        assert contrast(colours[shape], colours["surface"]) >= 3, shape


def test_make_stylesheet_lets_a_page_set_every_colour_in_both_lights():
    rules = make_stylesheet()
    for name in LIGHT:
        assert f"--_{name}:var(--picture-{name},{LIGHT[name]})" in rules
        assert f"--_{name}:var(--picture-{name},{DARK[name]})" in rules
    assert "prefers-color-scheme:dark" in rules


def test_fit_text_cuts_at_the_end_and_says_so():
    long = "Pedestal 14 at the corner of the long street"
    assert fit_text(long, 13, 1000) == long
    shown = fit_text(long, 13, 100)
    assert shown.endswith("…")
    assert measure_text(shown, 13) <= 100
    assert long.startswith(shown[:-1])
    assert fit_text(long, 13, 3) == ""


def test_wrap_text_breaks_between_words():
    lines = wrap_text("one two three four", 10, measure_text("three four", 10))
    assert lines == ["one two", "three four"]
