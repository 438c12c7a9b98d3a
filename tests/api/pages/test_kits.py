"""A warehouse's day on one page."""

from collections.abc import Callable

from django.test import Client

from tests.factories.jobs import DAY

Browse = Callable[[str], Client]


def test_kits_stand_side_by_side_above_one_list_by_bin(browse: Browse) -> None:
    text = browse("stores").get(f"/kits?date={DAY}&warehouse=yard").content.decode()
    for crew in ("north crew", "south crew"):
        assert crew in text
    assert "One list by bin" in text


def test_day_without_crews_says_so(browse: Browse) -> None:
    assert "No crew-day of" in browse("stores").get("/kits?date=2020-01-01&warehouse=yard").content.decode()


def test_kits_of_all_are_not_for_a_crew(browse: Browse) -> None:
    assert browse("crew").get(f"/kits?date={DAY}&warehouse=yard").status_code == 403
