"""A warehouse's day on one page."""

from collections.abc import Callable

from django.test import Client

from inventory.models import Actor, Place
from jobs.models import PickListPrint
from tests.factories.inventory import MORNING
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


def test_what_changed_since_the_last_print_says_what_it_was_and_is(browse: Browse) -> None:
    address = f"/kits?date={DAY}&warehouse=yard"
    stores = browse("stores")
    assert "Changed since list" not in stores.get(address).content.decode()
    PickListPrint.objects.create(
        warehouse=Place.objects.get(code="yard"),
        date=DAY,
        number=1,
        printed_at=MORNING,
        by=Actor.objects.all()[0],
        lines=[
            {
                "key": "yard|D-9|glide|own|[gal_us]",
                "place": "Yard",
                "title": "Pulling fluid",
                "note": "",
                "crews": {"north": 55_000_000},
            }
        ],
    )
    text = " ".join(stores.get(address).content.decode().split())
    assert "Changed since list 1 was printed" in text
    assert "<b>gone</b> Pulling fluid D-9: north 55 gal → –" in text
