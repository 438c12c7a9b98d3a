"""The count sheet on paper tells nothing of what the book says."""

from io import BytesIO
from uuid import uuid4

import pytest
from pypdf import PdfReader

from api.wire.papers.count_sheet import print_count_sheet
from inventory.services.counting.entering import Finding, enter_count
from inventory.services.counting.sheets import list_lines_to_count, make_count_sheet
from inventory.short_codes import make_short_code
from tests.factories.inventory import at, each, make_world

pytestmark = pytest.mark.django_db


def test_print_count_sheet_asks_for_what_is_to_be_counted_and_leaves_room_for_the_rest() -> None:
    world = make_world()
    drum = world.drum("D-1", 53)
    world.loose(world.projectile, each(77))
    sheet = make_count_sheet(
        id=uuid4(), by=world.actor, occurred_at=at(10), place=world.warehouse,
        materials=[world.fluid, world.projectile], note="North side first",
    )  # fmt: skip
    enter_count(
        id=uuid4(), by=world.actor, counted_at=at(11), line=sheet.lines.get(position=2),
        finding=Finding(each(70)),
    )  # fmt: skip
    body = print_count_sheet(sheet, list_lines_to_count(sheet), paper="letter")
    text = "\n".join(page.extract_text() for page in PdfReader(BytesIO(body)).pages)
    for words in (sheet.reference, "Extraction fluid", "D-1", make_short_code(drum.pk), "North side first"):
        assert words in text
    # Counted once and to be counted again: what the first one found is nobody's business, nor the book's.
    assert "Projectile 12 mm" in text
    assert "Found here and not on the sheet" in text
    assert not {"53", "77", "70"} & set(text.split())
    enter_count(
        id=uuid4(), by=world.other_actor, counted_at=at(12), line=sheet.lines.get(position=2),
        finding=Finding(each(70)),
    )  # fmt: skip
    again = print_count_sheet(sheet, list_lines_to_count(sheet), paper="letter")
    assert "Projectile 12 mm" not in PdfReader(BytesIO(again)).pages[0].extract_text()
