"""Runs allotted to reels: every run in one piece, few reels opened, what is open before what is sealed."""

from dataclasses import replace

import pytest

from inventory.models import Container
from jobs.models import KitPolicy
from jobs.queries.day_needs import Need
from jobs.queries.kit_reels import ReelAllotment, allot_reels
from jobs.queries.kit_stock import KitStock, StockItem
from tests.factories.inventory import World, make_world
from tests.factories.jobs import DAY

pytestmark = pytest.mark.django_db
FOOT = 1_000_000


@pytest.fixture
def world() -> World:
    return make_world()


def make_reel(
    world: World, label: str, feet: int, *, state: str = "sealed", on_truck: bool = False
) -> StockItem:
    place = world.vehicle if on_truck else world.warehouse
    reel = Container(
        label=label,
        kind=Container.Kind.REEL,
        material=world.fibre,
        owner=world.company,
        place=place,
        state=state,
    )
    return StockItem(place, world.fibre, world.company.pk, reel, feet * FOOT, feet * FOOT)


def make_need(world: World, feet: int, position: int = 1) -> Need:
    return Need(
        section="fibre",
        title="Fibre",
        unit="[ft_i]",
        quantity=feet * FOOT,
        mean=feet * FOOT,
        why="",
        first_position=position,
        material=world.fibre,
        owner=world.company,
    )


def allot(
    world: World,
    lengths: list[int],
    reels: list[StockItem],
    elsewhere: list[StockItem] | None = None,
    policy: KitPolicy | None = None,
) -> list[ReelAllotment]:
    trucks = [reel for reel in reels if reel.place == world.vehicle]
    others = [reel for reel in reels if reel.place != world.vehicle]
    needs = [make_need(world, feet, position) for position, feet in enumerate(lengths, start=1)]
    found = allot_reels(needs, KitStock(DAY, trucks, others, elsewhere or []), policy or KitPolicy(), 0.7)
    return sorted(found, key=lambda allotment: allotment.need.first_position)


def labels(found: list[ReelAllotment]) -> list[str]:
    return [allotment.picks[0].container if allotment.picks else "" for allotment in found]


def test_allot_reels_serves_all_where_the_longest_first_would_not(world: World) -> None:
    # The longest first, each to the shortest end that takes it, puts 500 with 400 and leaves a 200 without.
    reels = [make_reel(world, "A", 1000), make_reel(world, "B", 1000)]
    found = allot(world, [500, 400, 400, 300, 200, 200], reels)
    assert all(labels(found))
    assert [reel.left for reel in reels] == [0, 0]


def test_allot_reels_opens_one_reel_rather_than_two(world: World) -> None:
    found = allot(
        world,
        [300, 400],
        [make_reel(world, "A", 450), make_reel(world, "B", 350), make_reel(world, "C", 900)],
    )
    assert labels(found) == ["C", "C"]


def test_allot_reels_uses_up_what_is_open_or_on_the_truck(world: World) -> None:
    reels = [
        make_reel(world, "SEALED", 500),
        make_reel(world, "OPEN", 800, state="open"),
        make_reel(world, "TRUCK", 900, on_truck=True),
    ]
    found = allot(world, [450], reels)
    assert (labels(found), found[0].is_on_truck) == (["TRUCK"], True)
    assert labels(allot(world, [450], reels[:2])) == ["OPEN"]


def test_allot_reels_says_why_a_run_has_none(world: World) -> None:
    found = allot(world, [900, 800, 2000], [make_reel(world, "A", 1000)])
    assert sorted(labels(found)) == ["", "", "A"]
    why = [allotment.why for allotment in found if not allotment.picks]
    assert any("serve other runs of the day" in reason for reason in why)
    assert any("has only 1000 ft" in reason for reason in why)


def test_allot_reels_keeps_owners_apart(world: World) -> None:
    theirs = make_reel(world, "THEIRS", 1000)
    theirs.owner_id = world.customer.pk
    need = make_need(world, 300)
    needs = [need, replace(need, owner=world.customer)]
    found = allot_reels(needs, KitStock(DAY, [], [theirs]), KitPolicy(), 0.7)
    assert {allotment.need.owner: labels([allotment])[0] for allotment in found} == {
        world.company: "",
        world.customer: "THEIRS",
    }


def test_allot_reels_brings_a_reel_from_elsewhere_only_where_none_here_serves(world: World) -> None:
    here, far = make_reel(world, "HERE", 500), make_reel(world, "FAR", 900)
    assert labels(allot(world, [450], [here], [far])) == ["HERE"]
    found = allot(world, [450, 800], [make_reel(world, "HERE", 500)], [make_reel(world, "FAR", 900)])
    assert [(labels([row]), row.is_elsewhere) for row in found] == [(["HERE"], False), (["FAR"], True)]
    assert "to be brought" in found[1].picks[0].note


def test_allot_reels_weighs_what_bringing_and_opening_cost(world: World) -> None:
    """Two sealed reels at 20 each against one from elsewhere: dear it stays there, cheap it comes."""
    for cost, expected in ((200, {"A", "B"}), (30, {"FAR"})):
        reels = [make_reel(world, "A", 400), make_reel(world, "B", 400)]
        far = [make_reel(world, "FAR", 1000)]
        found = allot(world, [350, 360], reels, far, KitPolicy(distant_reel_cost=cost))
        assert set(labels(found)) == expected


def test_allot_reels_takes_the_nearer_of_two_reels_elsewhere(world: World) -> None:
    near, far = make_reel(world, "NEAR", 900), make_reel(world, "FAR", 900)
    near.distance, far.distance = 0, 1
    assert labels(allot(world, [450], [], [far, near])) == ["NEAR"]


def test_allot_reels_keeps_ends_useful_by_the_companys_measure(world: World) -> None:
    """1050 ft off two reels of 1000: both ends can be longer than 262 ft (80 m), so that none is lost."""
    reels = [make_reel(world, "A", 1000), make_reel(world, "B", 1000)]
    allot(world, [700, 250, 100], reels, policy=KitPolicy(useful_remnant_m=80.0))
    assert sorted(reel.left / FOOT for reel in reels) == [300, 650]
