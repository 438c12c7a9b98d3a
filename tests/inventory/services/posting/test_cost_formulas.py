"""The ledger's cost formulas against published exercises, with the paragraph of IAS 2 beside each rule."""

from uuid import uuid4

import pytest

from inventory.models import Container, CostPool, Entry, Material, Movement, Place
from inventory.money import to_money_millionths
from inventory.queries.verification import verify_ledger
from inventory.services.goods import draw, transfer
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.inventory import World, at, each, feet, make_world

pytestmark = pytest.mark.django_db
QUIZ = (("in", 3000, "1800"), ("in", 4000, "2960"), ("out", 4400), ("in", 2200, "1760"), ("out", 2100))
DEVICES = (("in", 150, "3150"), ("out", 120), ("in", 225, "6075"), ("out", 180), ("in", 210, "6930"))


def play(world: World, steps: tuple[tuple[object, ...], ...], place: Place | None = None) -> list[int]:
    """Receive and draw pieces step by step; the cost of each draw in millionths."""
    yard, costs = End(place or world.warehouse), []
    for hour, step in enumerate(steps):
        if step[0] == "in":
            line = ReceiptLine(world.projectile, each(step[1]), yard, to_money_millionths(step[2]))
            receive(id=uuid4(), by=world.actor, occurred_at=at(hour), source=world.supplier, lines=[line])
            continue
        taken = Line(world.projectile, each(step[1]), yard, End(world.span))
        costs.append(cost_of(draw(id=uuid4(), by=world.actor, occurred_at=at(hour), lines=[taken])))
    return costs


def cost_of(entry: Entry) -> int:
    return sum(row.value for row in entry.movements.all())


def worth(place: Place) -> int:
    return sum(pool.value for pool in CostPool.objects.filter(place=place))


@pytest.mark.outside_check(
    "IAS 2 paragraph 25, first in first out or weighted average: wizedu.com question 628894 and OpenStax "
    "Principles of Accounting Vol. 1, 10.3; how known: average of the first as published, others by exact "
    "arithmetic, book answers 7,200, 8,955, 7,253 and 8,902 from memory"
)
@pytest.mark.parametrize(
    ("formula", "steps", "draws", "ending"),
    [
        ("fifo", QUIZ, [2836_000_000, 1554_000_000], 2130_000_000),
        ("weighted_average", QUIZ, [2992_000_000, 1543_500_000], 1984_500_000),
        ("fifo", DEVICES, [2520_000_000, 4680_000_000], 8955_000_000),
        ("weighted_average", DEVICES, [2520_000_000, 4732_941_176], 8902_058_824),
    ],
)
def test_draws_cost_what_the_formula_of_the_material_says(
    formula: str, steps: tuple[tuple[object, ...], ...], draws: list[int], ending: int
) -> None:
    world = make_world(cost_formula=formula)
    assert play(world, steps) == draws
    assert worth(world.warehouse) == ending
    assert list(verify_ledger()) == []


@pytest.mark.outside_check(
    "IAS 2 paragraphs 23-24, specific identification of what is not interchangeable: 261.00, 820.00, 65.25 "
    "of three lots of 200 at 4.10, 4.35 and 4.60, 1,463.75 left; how known: made by hand, exact arithmetic"
)
def test_a_reel_costs_what_that_reel_cost() -> None:
    world = make_world()
    Material.objects.filter(pk=world.fibre.pk).update(cost_formula="specific")
    world.fibre.refresh_from_db()
    for number, price in enumerate(("820", "870", "920"), start=1):
        reel = Container(
            label=f"R-{number}", kind="reel", material=world.fibre, owner=world.company, place=world.warehouse
        )
        line = ReceiptLine(world.fibre, feet(200), End(world.warehouse, reel), to_money_millionths(price))
        receive(id=uuid4(), by=world.actor, occurred_at=at(number), source=world.supplier, lines=[line])
    costs = []
    for label, length in (("R-2", 60), ("R-1", 200), ("R-2", 15)):
        reel = Container.objects.get(label=label)
        cut = Line(
            world.fibre,
            feet(length),
            End(world.warehouse, reel),
            End(world.span),
            purpose=Movement.Purpose.INSTALLED,
        )
        costs.append(cost_of(draw(id=uuid4(), by=world.actor, occurred_at=at(9), lines=[cut])))
    assert costs == [261_000_000, 820_000_000, 65_250_000]
    left = {pool.lot.label: pool.value for pool in CostPool.objects.filter(place=world.warehouse) if pool.lot}
    assert {label: value for label, value in left.items() if value} == {
        "R-2": 543_750_000,
        "R-3": 920_000_000,
    }
    assert worth(world.warehouse) == 1463_750_000


@pytest.mark.outside_check(
    "IAS 2 paragraphs 25-26: one formula for goods of like use, whatever the place; how known: paragraphs "
    "read in a stored page, figures by hand"
)
def test_goods_cost_by_the_same_formula_wherever_they_lie() -> None:
    world = make_world(cost_formula="fifo")
    play(world, (("in", 10, "10"), ("in", 10, "30")))
    move = Line(world.projectile, each(15), End(world.warehouse), End(world.second_warehouse))
    transfer(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[move])
    assert play(world, (("out", 12),), world.second_warehouse) == [10_000_000 + 6_000_000]
    assert play(world, (("out", 5),)) == [15_000_000]


@pytest.mark.outside_check(
    "IAS 2 paragraphs 23, 25: no last in, first out; how known: common reading, from memory"
)
def test_there_is_no_other_formula() -> None:
    assert set(Material.CostFormula.values) == {"fifo", "weighted_average", "specific"}
