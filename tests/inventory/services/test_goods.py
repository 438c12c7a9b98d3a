"""Drawing, returning, moving and pouring goods, and what is refused."""

from uuid import uuid4

import pytest

from inventory.models import Container, CostPool, Entry, Movement, Place
from inventory.money import to_money_millionths
from inventory.queries.verification import verify_ledger
from inventory.services.conversions import Caught, recover
from inventory.services.corrections import Revaluation, revalue, reverse
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, drop, pick_up, return_goods, transfer
from inventory.services.lines import Line
from inventory.services.posting import (
    REST,
    ContainerElsewhere,
    ContainerHoldsOther,
    End,
    EntryConflict,
    GoodsMovedOn,
    NotEnoughHeld,
    TooMuchForContainer,
    WrongMaterial,
)
from tests.factories.inventory import at, each, gal, held, make_world

pytestmark = pytest.mark.django_db


def pool_value(place: Place, material: object) -> int:
    return sum(CostPool.objects.filter(place=place, material=material).values_list("value", flat=True))


def assert_book_is_whole() -> None:
    assert list(verify_ledger()) == []


def test_draw_of_eleven_times_five_gallons_empties_a_drum_exactly() -> None:
    world = make_world()
    drum = world.drum("D1", 55, cost=100)
    for hour in range(11):
        line = Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))
        draw(id=uuid4(), by=world.actor, occurred_at=at(hour), lines=[line])
    assert held(world.warehouse, world.fluid, drum) == 0
    assert held(world.span, world.fluid) == 55_000_000
    assert pool_value(world.span, world.fluid) == to_money_millionths(100)
    assert pool_value(world.warehouse, world.fluid) == 0
    assert_book_is_whole()


def test_draw_of_the_rest_takes_what_is_there() -> None:
    world = make_world()
    drum = world.drum("D1", "52.123457")
    line = Line(world.fluid, REST, End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    assert held(world.span, world.fluid) == 52_123_457


def test_draw_of_more_than_is_held_is_refused_and_changes_nothing() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(11), End(world.warehouse, drum), End(world.span))
    with pytest.raises(NotEnoughHeld, match="holds 10 gal of Extraction fluid, 11 gal is asked for"):
        draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    assert held(world.warehouse, world.fluid, drum) == 10_000_000
    assert Entry.objects.count() == 1


def test_draw_as_report_of_more_than_is_held_is_taken_and_the_book_is_short() -> None:
    world = make_world()
    drum = world.drum("D1", 10, cost=20)
    line = Line(world.fluid, gal(12), End(world.warehouse, drum), End(world.span))
    entry = draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)
    purposes = list(entry.movements.order_by("line").values_list("purpose", "quantity", "value"))
    # 2 gal came from nowhere at the last known 2 USD a gallon.
    assert purposes == [("book_short", 2_000_000, 4_000_000), ("used", 12_000_000, 24_000_000)]
    assert held(world.warehouse, world.fluid, drum) == 0
    assert world.warehouse.holdings.get(container=drum).is_unsettled
    assert_book_is_whole()


def test_draw_again_with_the_same_id_gives_the_first_entry() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(4), End(world.warehouse, drum), End(world.span))
    id = uuid4()
    first = draw(id=id, by=world.actor, occurred_at=at(1), lines=[line])
    again = draw(id=id, by=world.actor, occurred_at=at(1), lines=[line])
    assert again == first
    assert held(world.span, world.fluid) == 4_000_000


def test_draw_with_a_used_id_and_other_content_is_a_conflict() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    id = uuid4()
    line = Line(world.fluid, gal(4), End(world.warehouse, drum), End(world.span))
    draw(id=id, by=world.actor, occurred_at=at(1), lines=[line])
    other = Line(world.fluid, gal(5), End(world.warehouse, drum), End(world.span))
    with pytest.raises(EntryConflict, match="other content"):
        draw(id=id, by=world.actor, occurred_at=at(1), lines=[other])
    with pytest.raises(EntryConflict) as conflict:
        draw(id=id, by=world.other_actor, occurred_at=at(1), lines=[line])
    # Nothing of somebody else's entry is told.
    assert "draw" not in str(conflict.value)


def test_draw_from_a_drum_that_stands_elsewhere_is_refused() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(1), End(world.vehicle, drum), End(world.span))
    with pytest.raises(ContainerElsewhere, match="stands at Main yard, not at Truck 1"):
        draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])


def test_draw_of_the_rest_from_a_drum_that_stands_elsewhere_is_refused() -> None:
    world = make_world()
    line = Line(world.fluid, REST, End(world.vehicle, world.drum("D1", 10)), End(world.span))
    with pytest.raises(ContainerElsewhere):
        draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])


def test_draw_as_report_finds_the_drum_where_it_was_drawn_from() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    line = Line(world.fluid, gal(1), End(world.vehicle, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)
    drum.refresh_from_db()
    assert drum.place == world.vehicle
    assert drum.state == Container.State.OPEN
    assert held(world.vehicle, world.fluid, drum) == 9_000_000
    assert Movement.objects.filter(purpose="found_here").count() == 1
    assert_book_is_whole()


def test_return_goes_back_at_the_cost_at_which_it_went_out() -> None:
    world = make_world(cost_formula="fifo")
    world.loose(world.projectile, each(10), cost=10)
    world.loose(world.projectile, each(10), cost=30, hours=1)
    out = Line(world.projectile, each(15), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[out])
    # Ten at 1 and five at 3 went out; what comes back unused is the dearer, drawn last.
    assert pool_value(world.span, world.projectile) == 25_000_000
    back = Line(world.projectile, each(3), End(world.span), End(world.warehouse))
    return_goods(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[back])
    assert pool_value(world.span, world.projectile) == 16_000_000
    assert_book_is_whole()


def test_return_of_more_than_was_drawn_is_taken() -> None:
    world = make_world()
    world.loose(world.projectile, each(10), cost=10)
    back = Line(world.projectile, each(2), End(world.span), End(world.warehouse))
    return_goods(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[back])
    assert held(world.warehouse, world.projectile) == 12_000_000
    assert_book_is_whole()


def test_transfer_of_a_drum_takes_its_contents_along() -> None:
    world = make_world()
    drum = world.drum("D1", 40, cost=80)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(drum, world.vehicle)])
    assert held(world.vehicle, world.fluid, drum) == 40_000_000
    assert pool_value(world.vehicle, world.fluid) == 80_000_000
    drum.refresh_from_db()
    assert drum.place == world.vehicle
    assert_book_is_whole()


def test_drop_and_pick_up_keep_goods_ours() -> None:
    world = make_world()
    drum = world.drum("D1", 40)
    transfer(id=uuid4(), by=world.actor, occurred_at=at(1), containers=[(drum, world.vehicle)])
    drop(id=uuid4(), by=world.actor, occurred_at=at(2), site=world.site, containers=[drum])
    assert held(world.site, world.fluid, drum) == 40_000_000
    pick_up(id=uuid4(), by=world.actor, occurred_at=at(3), vehicle=world.vehicle, containers=[drum])
    assert held(world.vehicle, world.fluid, drum) == 40_000_000
    assert_book_is_whole()


def test_decant_keeps_parentage_and_refuses_what_does_not_fit() -> None:
    world = make_world()
    first, second = world.drum("D1", 40), world.drum("D2", 30)
    pour = Line(world.fluid, gal(20), End(world.warehouse, first), End(world.warehouse, second))
    decant(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[pour])
    poured = Movement.objects.get(purpose="poured")
    assert (poured.source_container, poured.target_container) == (first, second)
    with pytest.raises(TooMuchForContainer, match="takes 57 gal and holds 50 gal"):
        decant(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[pour])
    assert_book_is_whole()


def test_decant_of_one_fluid_onto_another_is_refused() -> None:
    world = make_world()
    fresh, mixed = world.drum("D1", 40), world.drum("D2", 1)
    line = Line(world.fluid, gal(10), End(world.warehouse, fresh), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    catch = Container.objects.create(
        label="C1", kind="drum", owner=world.company, place=world.warehouse, capacity=57_000_000
    )
    caught = Caught(world.recovered, gal(5), world.span, End(world.warehouse, catch))
    recover(id=uuid4(), by=world.actor, occurred_at=at(2), caught=[caught])
    pour = Line(world.fluid, gal(1), End(world.warehouse, mixed), End(world.warehouse, catch))
    with pytest.raises(ContainerHoldsOther, match="holds Recovered fluid"):
        decant(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[pour])


def test_recover_brings_back_the_policys_share_of_the_cost() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    line = Line(world.fluid, gal(40), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    catch = Container.objects.create(
        label="C1", kind="drum", owner=world.company, place=world.vehicle, capacity=57_000_000
    )
    caught = Caught(world.recovered, gal(30), world.span, End(world.vehicle, catch))
    recover(id=uuid4(), by=world.actor, occurred_at=at(2), caught=[caught])
    # 30 gal at 2 USD, half of it by policy: 30 USD come back, 80 - 30 stay with the span.
    assert pool_value(world.vehicle, world.recovered) == 30_000_000
    assert pool_value(world.span, world.fluid) == 50_000_000
    assert held(world.span, world.fluid) == 10_000_000
    catch.refresh_from_db()
    assert catch.contents_state == "caught"
    assert_book_is_whole()


def test_count_of_a_moment_leaves_later_draws_alone() -> None:
    world = make_world()
    drum = world.drum("D1", 50)
    line = Line(world.fluid, gal(10), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(5), lines=[line])
    found = Found(world.fluid, gal(48), End(world.warehouse, drum))
    count(id=uuid4(), by=world.actor, occurred_at=at(4), found=[found])
    # 48 were there at 4 h, ten were drawn at 5 h.
    assert held(world.warehouse, world.fluid, drum) == 38_000_000
    assert_book_is_whole()


def test_late_draw_of_before_a_count_comes_out_of_the_counts_difference() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    count(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(4),
        found=[Found(world.fluid, gal(40), End(world.warehouse, drum))],
    )
    variance = Place.objects.get(code="variance")
    assert held(variance, world.fluid) == 10_000_000
    line = Line(world.fluid, gal(10), End(world.warehouse, drum), End(world.span))
    late = draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[line], as_report=True)
    assert held(world.warehouse, world.fluid, drum) == 40_000_000
    assert held(variance, world.fluid) == 0
    assert held(world.span, world.fluid) == 10_000_000
    assert pool_value(world.span, world.fluid) == 20_000_000
    assert_book_is_whole()
    reverse(id=uuid4(), by=world.actor, entry=late, reason="did not happen")
    assert held(world.warehouse, world.fluid, drum) == 40_000_000
    assert held(variance, world.fluid) == 10_000_000
    assert held(world.span, world.fluid) == 0
    assert_book_is_whole()


def test_reverse_undoes_an_entry_and_its_cost() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    line = Line(world.fluid, gal(10), End(world.warehouse, drum), End(world.span))
    entry = draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    undone = reverse(id=uuid4(), by=world.actor, entry=entry, reason="wrong span")
    assert undone.reverses == entry
    assert held(world.warehouse, world.fluid, drum) == 50_000_000
    assert pool_value(world.warehouse, world.fluid) == 100_000_000
    assert_book_is_whole()


def test_reverse_of_a_receipt_whose_goods_moved_on_names_the_entries_in_the_way() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    receipt = Entry.objects.get()
    line = Line(world.fluid, gal(10), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], document="ticket 7")
    with pytest.raises(GoodsMovedOn, match="ticket 7"):
        reverse(id=uuid4(), by=world.actor, entry=receipt, reason="never came")
    assert_book_is_whole()


def test_reverse_that_covers_what_is_missing_takes_it_from_variance() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    receipt = Entry.objects.get()
    line = Line(world.fluid, gal(10), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], document="ticket 7")
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="never came", covers_missing=True)
    assert held(world.warehouse, world.fluid, drum) == 0
    assert held(world.span, world.fluid) == 10_000_000
    assert Movement.objects.get(purpose="book_short").quantity == 10_000_000
    assert_book_is_whole()


def test_reverse_takes_at_most_the_pools_share_and_sends_the_rest_through_price_variance() -> None:
    world = make_world()
    world.loose(world.projectile, each(10), cost=10)
    dear = Entry.objects.get()
    world.loose(world.projectile, each(10), cost=30, hours=1)
    reverse(id=uuid4(), by=world.actor, entry=dear, reason="never came")
    # The pool averaged 2 a piece; ten went back at the 10 they were booked at, 30 stays for the other ten.
    assert pool_value(world.warehouse, world.projectile) == 30_000_000
    assert_book_is_whole()


def test_revalue_moves_value_alone() -> None:
    world = make_world(cost_formula="fifo")
    world.loose(world.projectile, each(10), cost=10)
    world.loose(world.projectile, each(30), cost=30, hours=1)
    down = Revaluation(world.projectile, world.warehouse, -8_000_000)
    against = Place.objects.get(code="write-down")
    revalue(id=uuid4(), by=world.actor, occurred_at=at(2), changes=[down], against=against, reason="damp")
    assert pool_value(world.warehouse, world.projectile) == 32_000_000
    assert held(world.warehouse, world.projectile) == 40_000_000
    assert_book_is_whole()


def test_draw_from_a_lot_or_reel_of_another_material_is_refused() -> None:
    world = make_world()
    reel = Container.objects.create(
        label="R1", kind="reel", material=world.fibre, owner=world.company, place=world.warehouse
    )
    line = Line(world.projectile, each(1), End(world.warehouse, reel), End(world.span))
    with pytest.raises(WrongMaterial, match="R1 is a reel of Fibre cable 48, not of Projectile 12 mm"):
        draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line], as_report=True)
    assert Entry.objects.count() == 0


def test_decant_measures_a_vessel_without_material_in_litres() -> None:
    world = make_world()
    drum = world.drum("D1", 50)
    vessel = Container.objects.create(
        label="V1", kind="drum", owner=world.company, place=world.warehouse, capacity=57_000_000
    )
    # 57 L are 15.06 gal: 15 go in, 16 do not.
    too_much = Line(world.fluid, gal(16), End(world.warehouse, drum), End(world.warehouse, vessel))
    with pytest.raises(TooMuchForContainer, match=r"takes 15\.06 gal"):
        decant(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[too_much])
    fits = Line(world.fluid, gal(15), End(world.warehouse, drum), End(world.warehouse, vessel))
    decant(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[fits])
    assert held(world.warehouse, world.fluid, vessel) == 15_000_000


def test_book_short_is_priced_without_receipts_that_were_undone() -> None:
    world = make_world()
    world.loose(world.projectile, each(10), cost=10)
    world.loose(world.projectile, each(10), cost=100, hours=1)
    reverse(id=uuid4(), by=world.actor, entry=Entry.objects.latest("key"), reason="typed a nought too many")
    line = Line(world.projectile, each(12), End(world.warehouse), End(world.span))
    entry = draw(id=uuid4(), by=world.actor, occurred_at=at(2), lines=[line], as_report=True)
    # Ten at 1 were there; the two that were not are taken at the 1 that stands, not at the 10 undone.
    assert entry.movements.get(purpose="book_short").value == 2_000_000


def test_return_costs_what_the_standing_draw_cost() -> None:
    world = make_world()
    world.loose(world.projectile, each(10), cost=100)
    out = Line(world.projectile, each(4), End(world.warehouse), End(world.span))
    wrong = draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[out])
    reverse(id=uuid4(), by=world.actor, entry=wrong, reason="wrong day")
    write_down = Place.objects.get(code="write-down")
    down = Revaluation(world.projectile, world.warehouse, -50_000_000)
    revalue(id=uuid4(), by=world.actor, occurred_at=at(2), changes=[down], against=write_down, reason="damp")
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[out])
    up = Revaluation(world.projectile, world.span, 8_000_000)
    supplier = world.supplier
    asking = {"changes": [up], "against": supplier, "reason": "freight", "is_agreed": True}
    revalue(id=uuid4(), by=world.actor, occurred_at=at(4), **asking)
    back = Line(world.projectile, each(2), End(world.span), End(world.warehouse))
    entry = return_goods(id=uuid4(), by=world.actor, occurred_at=at(5), lines=[back])
    # Two of the four drawn at 5 each, neither the 10 of the undone draw nor a share of the late freight.
    assert entry.movements.get().value == 10_000_000
    assert_book_is_whole()


def test_draw_again_under_a_used_id_is_a_conflict_before_anything_else_is_judged() -> None:
    world = make_world()
    drum = world.drum("D1", 10)
    reel = Container.objects.create(
        label="R1", kind="reel", material=world.fibre, owner=world.company, place=world.warehouse
    )
    id = uuid4()
    line = Line(world.fluid, gal(1), End(world.warehouse, drum), End(world.span))
    draw(id=id, by=world.actor, occurred_at=at(1), lines=[line])
    other = Line(world.fluid, gal(1), End(world.warehouse, reel), End(world.span))
    with pytest.raises(EntryConflict):
        draw(id=id, by=world.actor, occurred_at=at(1), lines=[other])


def test_recover_in_two_catches_brings_back_what_one_would() -> None:
    world = make_world()
    drum = world.drum("D1", 50, cost=100)
    line = Line(world.fluid, gal(40), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    catch = Container.objects.create(
        label="C1", kind="drum", owner=world.company, place=world.vehicle, capacity=400_000_000
    )
    for hour, amount in ((2, 10), (3, 20)):
        caught = Caught(world.recovered, gal(amount), world.span, End(world.vehicle, catch))
        recover(id=uuid4(), by=world.actor, occurred_at=at(hour), caught=[caught])
    # 30 gal at the 2 USD at which they went in, half of it by policy, however often the drum was filled.
    assert pool_value(world.vehicle, world.recovered) == 30_000_000
    assert_book_is_whole()
