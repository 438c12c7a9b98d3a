"""A job's statement, reckoned by hand and compared with the book.

The job draws 12 gal of fluid at 6.00 to span S1, 5 gal to S2 and 2 projectiles at 3.00 to its run; 1 gal of
S1 is returned, 6 gal of S1 come back as recovered fluid at half their cost, one projectile is lost, and
1000 ft of the customer's fibre are installed in the run.
"""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from inventory.errors import NotFound
from inventory.models import Container, CostPool, Entry, Holding, Movement
from inventory.services.conversions import Caught, recover
from inventory.services.corrections import reverse
from inventory.services.goods import draw, return_goods
from inventory.services.lines import Line
from inventory.services.posting import End
from jobs.models import Span
from jobs.queries.statement import StatedMaterial, get_statement
from tests.factories.inventory import at, each, feet, gal
from tests.factories.jobs import make_job, make_run, make_span
from tests.factories.kits import SmallDay, make_small_day

Purpose = Movement.Purpose
MILLION = 1_000_000

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    small.world.drum("D-1", 55, cost=330)
    small.world.loose(small.world.projectile, each(10), cost=30)
    small.reel("F-1", 2000)
    return small


def _draw(day: SmallDay, *lines: Line) -> Entry:
    return draw(id=uuid4(), by=day.world.actor, occurred_at=at(2), lines=lines)


def _fluid(day: SmallDay, gallons: int, span: str, **fields: Any) -> Line:
    drum = End(day.world.warehouse, Container.objects.get(label="D-1"))
    return Line(day.world.fluid, gal(gallons), drum, _span(span), **fields)


def _span(name: str) -> End:
    return End(Span.objects.select_related("place").get(name=name).place)


def _work(day: SmallDay) -> None:
    world, run, drum = day.world, End(day.run.place), Container.objects.get(label="D-1")
    yard = End(world.warehouse)
    reel = End(world.warehouse, Container.objects.get(label="F-1"))
    _draw(
        day,
        _fluid(day, 12, "S1"),
        _fluid(day, 5, "S2"),
        Line(world.projectile, each(1), yard, run),
        Line(world.projectile, each(1), yard, run, purpose=Purpose.LOST, cause="left_in_plant"),
        Line(world.fibre, feet(1000), reel, run, purpose=Purpose.INSTALLED),
    )
    back = Line(world.fluid, gal(1), _span("S1"), End(world.warehouse, drum))
    return_goods(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[back])
    catch = day.vessel("C-1", material=world.recovered)
    caught = Caught(world.recovered, gal(6), _span("S1").place, End(world.warehouse, catch))
    recover(id=uuid4(), by=world.actor, occurred_at=at(4), caught=[caught])


def _by_code(lines: list[StatedMaterial]) -> dict[str, StatedMaterial]:
    return {line.material.code: line for line in lines}


def test_statement_says_what_is_reckoned_by_hand(day: SmallDay) -> None:
    _work(day)
    stated = _by_code(get_statement("J-1").materials)
    fluid = stated["fluid"].amounts
    assert fluid.drawn == 17 * MILLION
    assert (fluid.quantity("used"), fluid.quantity("lost")) == (17 * MILLION, 0)
    assert (fluid.quantity("returned"), fluid.quantity("recovered")) == (1 * MILLION, 6 * MILLION)
    assert fluid.stays == 10 * MILLION
    # 330 for 55 gal is 6.00 a gallon: 17 * 6 out, 1 * 6 back, half of 6 * 6 back with what was recovered.
    assert (fluid.drawn_value, fluid.value("returned"), fluid.value("recovered")) == (
        102 * MILLION,
        6 * MILLION,
        18 * MILLION,
    )
    assert fluid.cost == 78 * MILLION
    projectiles = stated["projectile-12"].amounts
    assert (projectiles.drawn, projectiles.quantity("lost")) == (2 * MILLION, 1 * MILLION)
    assert projectiles.cost == 6 * MILLION


def test_statement_cost_is_what_the_book_says(day: SmallDay) -> None:
    _work(day)
    statement = get_statement("J-1")
    assert statement.cost == 84 * MILLION
    places = [day.job.place_id, day.run.place_id, *day.job.spans.values_list("place", flat=True)]
    pools = CostPool.objects.filter(place__in=places)
    assert statement.book_value == pools.aggregate(total=Sum("value"))["total"] == 84 * MILLION
    assert statement.agrees_with_book
    for line in [*statement.materials, *statement.furnished]:
        held = Holding.objects.filter(place__in=places, material=line.material, owner=line.owner)
        assert line.amounts.stays == held.aggregate(total=Sum("quantity"))["total"]


def test_statement_tells_where_the_book_differs(day: SmallDay) -> None:
    _work(day)
    CostPool.objects.filter(place=day.run.place, material=day.world.projectile).update(value=1)
    assert not get_statement("J-1").agrees_with_book


def test_statement_states_furnished_goods_apart_by_quantity(day: SmallDay) -> None:
    _work(day)
    statement = get_statement("J-1")
    (fibre,) = statement.furnished
    assert (fibre.owner, fibre.amounts.quantity("installed")) == (day.world.customer, 1000 * MILLION)
    assert fibre.amounts.cost == 0
    assert "fibre-48" not in _by_code(statement.materials)


def test_statement_tells_part_by_part(day: SmallDay) -> None:
    _work(day)
    parts = [(part.kind, part.name, part.cost) for part in get_statement("J-1").parts]
    assert parts == [
        ("run", "R1", 6 * MILLION),
        # 12 * 6 less 6 returned less 18 recovered.
        ("span", "S1", 48 * MILLION),
        ("span", "S2", 30 * MILLION),
    ]


def test_statement_takes_a_reversal_out_of_its_own_line(day: SmallDay) -> None:
    entry = _draw(day, _fluid(day, 12, "S1"))
    reverse(id=uuid4(), by=day.world.actor, entry=entry, reason="wrong span")
    (fluid,) = get_statement("J-1").materials
    assert (fluid.amounts.drawn, fluid.amounts.stays, fluid.amounts.cost) == (0, 0, 0)


def test_statement_leaves_out_other_jobs(day: SmallDay) -> None:
    _work(day)
    other = make_job("J-2")
    make_span(make_run(other, "R9"), "S9", "P1", "P2")
    _draw(day, _fluid(day, 3, "S9"))
    assert get_statement("J-1").cost == 84 * MILLION
    assert get_statement("J-2").cost == 18 * MILLION


def test_statement_of_a_job_without_charges_is_empty(day: SmallDay) -> None:
    statement = get_statement("J-1")
    assert (statement.materials, statement.parts, statement.cost) == ([], [], 0)
    assert statement.agrees_with_book


def test_get_statement_refuses_a_job_that_is_not_there(day: SmallDay) -> None:
    with pytest.raises(NotFound, match="J-9"):
        get_statement("J-9")


def test_get_statement_asks_no_more_for_ten_spans_than_for_one(day: SmallDay) -> None:
    _draw(day, _fluid(day, 1, "S1"))
    with CaptureQueriesContext(connection) as few:
        get_statement("J-1")
    run = make_run(day.job, "R2")
    for number in range(10):
        make_span(run, f"X{number}", f"A{number}", f"B{number}", sequence=number)
        _draw(day, _fluid(day, 1, f"X{number}"))
    with CaptureQueriesContext(connection) as many:
        get_statement("J-1")
    assert len(many) == len(few)
