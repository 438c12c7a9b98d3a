"""Freight and duty that are known when goods come."""

import pytest

from inventory.errors import BadInput
from inventory.services.landed import Charge, land
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine
from tests.factories.inventory import World, each, feet, gal, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def lines(world: World) -> list[ReceiptLine]:
    """3 gal of 1020 kg/m3 for 30, and 10 pads without a weight for 10."""
    yard = End(world.warehouse)
    return [
        ReceiptLine(world.fluid, gal(3), yard, 30_000_000),
        ReceiptLine(world.projectile, each(10), yard, 10_000_000),
    ]


@pytest.mark.outside_check("IAS 2 paragraph 11, duty and transport are costs of purchase; how known: by hand")
def test_land_shares_by_value_and_by_count(world: World) -> None:
    landed = land(lines(world), [Charge("duty", 4_000_000), Charge("freight", 13_000_000, "count")])
    assert [line.cost for line in landed] == [36_000_000, 21_000_000]


def test_land_shares_by_what_goods_weigh(world: World) -> None:
    world.projectile.mass_kg_per_unit = 3 * 1020 * 0.003785411784 / 10
    landed = land(lines(world), [Charge("freight", 10_000_000, "weight")])
    assert [line.cost for line in landed] == pytest.approx([35_000_000, 15_000_000], abs=1)


def test_land_without_charges_leaves_lines_as_they_are(world: World) -> None:
    assert land(lines(world), []) == lines(world)


def test_land_names_what_it_cannot_share(world: World) -> None:
    with pytest.raises(BadInput, match="what Projectile 12 mm weighs is not known") as refusal:
        land(lines(world), [Charge("freight", 1, "weight"), Charge("duty", -1)])
    assert [fault.pointer for fault in refusal.value.faults] == ["/charges/0/share_by", "/charges/1/amount"]


def test_land_shares_evenly_what_nothing_tells_apart(world: World) -> None:
    free = [ReceiptLine(world.fibre, feet(1), End(world.warehouse), 0) for _line in range(2)]
    assert [line.cost for line in land(free, [Charge("freight", 5)])] == [3, 2]
