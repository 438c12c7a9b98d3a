"""What a sheet says of what is short: reels and vessels of other places, orders and the restock list."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Holding, Material, Place, Reservation
from inventory.services.goods import transfer
from jobs.models import Crew, CrewDay, CrewDayStep, KitPolicy
from jobs.queries.pull_sheet import SheetLine, get_pull_sheet
from jobs.queries.shortage_help import NAME_VESSELS
from jobs.services.day_life import change_day_state
from jobs.services.needs import write_needs
from tests.factories.inventory import MORNING, each
from tests.factories.jobs import DAY, add_step, make_crew, make_place, make_run, make_span
from tests.factories.kits import SmallDay, make_fitting, make_small_day
from tests.factories.supply import make_order, make_supplier, make_terms

FOOT = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def _line(section: str = "fibre", crew: str = "north") -> SheetLine:
    (line,) = [line for line in get_pull_sheet(crew_code=crew, date=DAY).lines if line.section == section]
    return line


def _send_away(day: SmallDay, label: str, place: Place) -> None:
    """Move a reel that the factory put into the yard to another place."""
    reel = Container.objects.get(label=label)
    transfer(id=uuid4(), by=day.world.actor, occurred_at=MORNING, containers=[(reel, place)])


def test_reel_of_another_yard_is_named_and_the_run_stands_as_short(day: SmallDay) -> None:
    """The run takes 1132.2 ft in one piece; here are 900 ft."""
    day.reel("HERE", 900)
    day.reel("FAR", 2000)
    _send_away(day, "FAR", day.world.second_warehouse)
    line = _line()
    assert (line.picks, line.short) == ([], line.needed)
    assert [(pick.container, pick.place) for pick in line.elsewhere] == [("FAR", "North yard")]
    assert line.help.startswith("Have reel FAR brought from North yard.")
    sheet = get_pull_sheet(crew_code="north", date=DAY)
    (cuts,) = sheet.cut_lists
    assert (cuts.reel, cuts.is_elsewhere, cuts.held) == ("FAR", True, 2000 * FOOT)


def test_reel_at_hand_serves_before_one_elsewhere(day: SmallDay) -> None:
    day.reel("HERE", 3000)
    day.reel("FAR", 1200)
    _send_away(day, "FAR", day.world.second_warehouse)
    line = _line()
    assert ([pick.container for pick in line.picks], line.elsewhere) == (["HERE"], [])


def test_reel_elsewhere_of_another_owner_or_promised_or_going_out_is_left(day: SmallDay) -> None:
    for label in ("OURS", "PROMISED", "OUT"):
        day.reel(label, 2000, is_ours=label == "OURS")
    _send_away(day, "OURS", day.world.second_warehouse)
    _send_away(day, "PROMISED", day.world.second_warehouse)
    south = make_crew("south")
    assert south.vehicle is not None
    _send_away(day, "OUT", south.vehicle)
    CrewDay.objects.create(crew=south, date=DAY, vehicle=south.vehicle, warehouse=day.world.warehouse)
    reel = Container.objects.get(label="PROMISED")
    promise = Reservation.objects.create(
        holder="crew:south",
        reference="crew-day:0",
        place=day.world.second_warehouse,
        material=day.world.fibre,
        owner=reel.owner,
        container=reel,
        quantity=FOOT,
    )
    assert _line().elsewhere == []
    promise.delete()
    assert [pick.container for pick in _line().elsewhere] == ["PROMISED"]


def test_reel_elsewhere_goes_to_one_crew_only(day: SmallDay) -> None:
    run = make_run(day.job, "R2")
    make_span(run, "T1", "Q1", "Q2", feet=600)
    truck = make_place(Place.Kind.VEHICLE, "truck-south")
    crew = Crew.objects.create(code="south", name="South", vehicle=truck, warehouse=day.world.warehouse)
    found = CrewDay.objects.create(crew=crew, date=DAY, vehicle=truck, warehouse=day.world.warehouse)
    add_step(found, CrewDayStep.Kind.BLOW, run=run)
    day.reel("FAR", 3000)
    _send_away(day, "FAR", day.world.second_warehouse)
    assert [pick.container for pick in _line().elsewhere] == ["FAR"]
    assert _line(crew="south").elsewhere == []


def test_reel_elsewhere_is_never_promised(day: SmallDay) -> None:
    day.reel("FAR", 3000)
    _send_away(day, "FAR", day.world.second_warehouse)
    change_day_state(crew_code="north", date=DAY, state="agreed", by=day.world.actor, occurred_at=MORNING)
    assert not Reservation.objects.filter(container__label="FAR").exists()


def test_reels_elsewhere_take_as_many_queries_for_one_as_for_ten(day: SmallDay) -> None:
    counts = []
    for more in (1, 9):
        for number in range(more):
            label = f"FAR-{more}-{number}"
            day.reel(label, 2000)
            _send_away(day, label, day.world.second_warehouse)
        with CaptureQueriesContext(connection) as queries:
            _line()
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_short_vessels_name_the_nearest_that_stand_clean_and_what_to_set(day: SmallDay) -> None:
    assert _line("sweep").help == f"No other place has any clean and empty. {NAME_VESSELS}"
    day.vessel("DIRTY", place=day.world.second_warehouse, state=Container.State.OPEN)
    day.vessel("V1", place=day.world.second_warehouse, gallons=55)
    assert _line("sweep").help.startswith("Nearest: North yard has some for 55 gal.")
    KitPolicy.objects.update(
        vessel_material=Material.objects.create(code="pail", name="Pail", kind="supply", stock_unit="1")
    )
    assert _line("sweep").help.endswith("Nothing on order will bring it.")
    assert not Holding.objects.filter(material__code="pail").exists()


def test_short_pieces_name_the_restock_line_and_then_the_order_that_brings_them(day: SmallDay) -> None:
    """The day lacks one union: first the list says to order it, then the order that was sent is named."""
    union = make_fitting("union")
    supplier = make_supplier(name="Corner Fittings")
    make_terms(supplier, union, days=4.0, pack=10)
    write_needs([day.crew_day])
    said = _line("union").help
    assert "On the restock list: 10 from Corner Fittings, to order" in said
    order = make_order(day.world, supplier, union, each(10)).order
    said = _line("union").help
    assert f"Order {order.reference} should bring 10 by " in said
    assert "restock list" not in said
