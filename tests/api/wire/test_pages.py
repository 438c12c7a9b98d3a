"""Pages by cursor: rows that come or go meanwhile neither repeat nor hide others."""

import pytest

from api.wire.pages import BadCursor, Order, make_cursor, read_cursor, take_page
from inventory.models import Party

pytestmark = pytest.mark.django_db
BY_CODE = Order("code")


def _codes(cursor: str | None, order: Order = BY_CODE) -> tuple[list[str], str | None]:
    page = take_page(Party.objects.all(), order=order, size=2, cursor=cursor)
    return [row.code for row in page.rows], page.next_cursor


def test_take_page_goes_on_behind_its_last_row_whatever_came_or_went() -> None:
    for code in "bdfh":
        Party.objects.create(code=code, name=code)
    first, cursor = _codes(None)
    assert first == ["b", "d"]
    Party.objects.create(code="a", name="a")
    Party.objects.filter(code="d").delete()
    assert _codes(cursor) == (["f", "h"], None)


def test_take_page_downwards_needs_its_own_cursor() -> None:
    for code in "abc":
        Party.objects.create(code=code, name=code)
    downward = Order("code", is_downward=True)
    codes, cursor = _codes(None, downward)
    assert codes == ["c", "b"]
    assert _codes(cursor, downward) == (["a"], None)
    with pytest.raises(BadCursor):
        _codes(cursor)


def test_read_cursor_gives_back_what_make_cursor_put_in() -> None:
    party = Party(code='north \u00e9 "quoted"', name="")
    assert read_cursor(make_cursor(party, BY_CODE), BY_CODE) == party.code
