"""A bill's difference follows the goods."""

from dataclasses import replace
from datetime import date
from importlib import import_module
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import transaction
from django.db.models import QuerySet

from inventory.errors import BadInput
from inventory.models import Container, CostPool, Entry, InvoiceShare, Party, Place, SupplierInvoice
from inventory.money import to_money_millionths
from inventory.queries.receipt_costs import list_unbilled
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.bills import Bill, BilledCharge, BilledLine
from inventory.services.accounting.invoices import record_invoice, undo_invoice
from inventory.services.accounting.periods import close_period
from inventory.services.conversions import Caught, recover
from inventory.services.corrections import ReceiptIsBilled, Revaluation, dispose, revalue, reverse
from inventory.services.documents import DocumentConflict
from inventory.services.goods import draw, return_goods, transfer
from inventory.services.landed import Charge
from inventory.services.lines import Line
from inventory.services.parties import save_party
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from inventory.units import Amount
from tests.factories.inventory import World, at, each, gal, make_world

pytestmark = pytest.mark.django_db
BILLED = date(2026, 3, 20)


def make(formula: str) -> World:
    world = make_world(cost_formula=formula)
    save_party(code="mill", name="Foam Mill", is_supplier=True)
    return world


def get_supplier() -> Party:
    return Party.objects.get(code="mill")


def get_pads(world: World, pieces: int, cost: str, hours: float = 0) -> Entry:
    line = ReceiptLine(world.projectile, each(pieces), End(world.warehouse), to_money_millionths(cost))
    source = Place.objects.get(code="supplier:mill")
    return receive(id=uuid4(), by=world.actor, occurred_at=at(hours), source=source, lines=[line])


def use(world: World, pieces: int, hours: float, place: Place | None = None) -> None:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(place or world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def bill(world: World, *lines: tuple[Entry, Amount, str], **also: Any) -> Bill:
    return Bill(
        **{
            "supplier": get_supplier(),
            "number": "B-1",
            "invoice_date": BILLED,
            "lines": [
                BilledLine(entry, world.projectile, amount, to_money_millionths(price))
                for entry, amount, price in lines
            ],
            **also,
        }
    )


def record(world: World, sent: Bill, **also: Any) -> SupplierInvoice:
    return record_invoice(**{"id": uuid4(), "by": world.actor, "occurred_at": at(100), "bill": sent, **also})


def worth(place: Place) -> int:
    return sum(pool.value for pool in CostPool.objects.filter(place=place))


def only(place: Place) -> QuerySet[Place]:
    return Place.objects.filter(pk=place.pk)


def price_variance() -> int:
    return sum(worth(place) for place in Place.objects.filter(code="price-variance"))


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
@pytest.mark.outside_check("IAS 2 paragraphs 10, 11, 34, what is held and what is used; how known: by hand")
def test_a_difference_goes_to_what_is_held_and_to_the_work_that_used_the_rest(formula: str) -> None:
    world = make(formula)
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    record(world, bill(world, (receipt, each(10), "110")))
    assert worth(world.warehouse) == 66_000_000
    assert worth(world.span) == 44_000_000
    assert list(verify_ledger()) == []


def test_a_difference_follows_its_own_lot_only() -> None:
    world = make("fifo")
    first = get_pads(world, 10, "100")
    get_pads(world, 10, "100", hours=1)
    use(world, 10, 2)
    record(world, bill(world, (first, each(10), "90")))
    assert worth(world.span) == 90_000_000
    assert worth(world.warehouse) == 100_000_000


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
@pytest.mark.outside_check("IAS 2 paragraphs 25, 27, each unit takes one bill's part; how known: by hand")
def test_bills_of_two_receipts_raise_what_is_held_once(formula: str) -> None:
    """Two of 100 at 10.00, 150 used, both billed 10 % more: 50 held are worth 550, the work 1,650."""
    world = make(formula)
    first, second = get_pads(world, 100, "1000"), get_pads(world, 100, "1000", hours=1)
    use(world, 150, 2)
    record(world, bill(world, (first, each(100), "1100")))
    record(world, bill(world, (second, each(100), "1100"), number="B-2"))
    assert worth(world.warehouse) == 550_000_000
    assert worth(world.span) == 1_650_000_000
    assert price_variance() == 0


@pytest.mark.outside_check("IAS 2 paragraph 27, an average taken at each receipt; how known: by hand")
def test_bills_under_steady_restocking_add_up_to_an_average_bought_at_the_billed_price() -> None:
    """Six times 10 came and 8 were used: billed later, all is as if it had come at that price at once."""
    late = make("weighted_average")
    receipts = []
    for week in range(6):
        receipts.append(get_pads(late, 10, "100", hours=week))
        use(late, 8, week + 0.5)
    for number, receipt in enumerate(receipts):
        record(late, bill(late, (receipt, each(10), "110"), number=f"B-{number}"))
    assert worth(late.warehouse) == pytest.approx(12 * 11_000_000, abs=20)
    assert worth(late.span) == pytest.approx(48 * 11_000_000, abs=20)
    assert worth(late.warehouse) + worth(late.span) == 660_000_000
    assert price_variance() == 0


def test_a_difference_follows_the_place_that_got_the_goods_and_comes_back_with_them() -> None:
    world = make("weighted_average")
    receipt = get_pads(world, 10, "100")
    moved = Line(world.projectile, each(6), End(world.warehouse), End(world.vehicle))
    transfer(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[moved])
    get_pads(world, 4, "40", hours=2)
    used = Line(world.projectile, each(6), End(world.vehicle), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(3), lines=[used])
    back = Line(world.projectile, each(2), End(world.span), End(world.vehicle))
    return_goods(id=uuid4(), by=world.actor, occurred_at=at(4), lines=[back])
    record(world, bill(world, (receipt, each(10), "110")))
    assert worth(world.span) == 44_000_000
    assert worth(world.vehicle) == 22_000_000
    assert worth(world.warehouse) == 84_000_000


def get_fluid(world: World, gallons: int, cost: str) -> tuple[Entry, Container]:
    drum = Container(label="D-9", kind="drum", material=world.fluid, owner=world.company)
    drum.place, drum.received_at, drum.capacity = world.warehouse, at(0), 57_000_000
    entry = receive(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(0),
        source=Place.objects.get(code="supplier:mill"),
        lines=[ReceiptLine(world.fluid, gal(gallons), End(world.warehouse, drum), to_money_millionths(cost))],
    )
    return entry, drum


def inject_and_catch(world: World, drum: Container, *, injected: int, caught: int) -> None:
    line = Line(world.fluid, gal(injected), End(world.warehouse, drum), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    vessel = Container.objects.create(
        label="C-9", kind="drum", material=world.recovered, owner=world.company, place=world.vehicle
    )
    back = Caught(world.recovered, gal(caught), world.span, End(world.vehicle, vessel))
    recover(id=uuid4(), by=world.actor, occurred_at=at(2), caught=[back])


def bill_fluid(world: World, receipt: Entry, gallons: int, price: str) -> SupplierInvoice:
    line = BilledLine(receipt, world.fluid, gal(gallons), to_money_millionths(price))
    return record(world, bill(world, lines=[line]))


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
@pytest.mark.parametrize(
    ("caught", "at_work", "recovered"), [(30, 70_000_000, 30_000_000), (50, 50_000_000, 50_000_000)]
)
@pytest.mark.outside_check(
    "half the cost of what is caught comes back, as its policy says; how known: by hand"
)
def test_a_difference_on_recovered_fluid_is_shared_as_its_cost_was(
    formula: str, caught: int, at_work: int, recovered: int
) -> None:
    """50 gal drawn, 30 or all caught, billed 100.00 more: half of what the caught ones cost stays at work."""
    world = make(formula)
    receipt, drum = get_fluid(world, 50, "500")
    inject_and_catch(world, drum, injected=50, caught=caught)
    span, vehicle = worth(world.span), worth(world.vehicle)
    bill_fluid(world, receipt, 50, "600")
    assert worth(world.span) - span == at_work
    assert worth(world.vehicle) - vehicle == recovered
    assert price_variance() == 0
    assert list(verify_ledger()) == []


def test_a_credit_on_fluid_that_was_caught_again_in_full_is_taken_off_the_work() -> None:
    world = make("fifo")
    receipt, drum = get_fluid(world, 50, "500")
    inject_and_catch(world, drum, injected=50, caught=50)
    bill_fluid(world, receipt, 50, "400")
    assert (worth(world.span), worth(world.vehicle), price_variance()) == (200_000_000, 200_000_000, 0)


def test_lines_that_lower_one_pool_take_off_what_it_has_and_the_rest_is_price_variance() -> None:
    """Two receipts for 100 each were written down to 150 in all; a bill says that both cost 10 only."""
    world = make("weighted_average")
    first, second = get_pads(world, 10, "100"), get_pads(world, 10, "100", hours=1)
    lower = Revaluation(world.projectile, world.warehouse, -50_000_000)
    against = Place.objects.get(kind="write_down")
    revalue(
        id=uuid4(), by=world.actor, occurred_at=at(2), changes=[lower], against=against, reason="Scratched."
    )
    record(world, bill(world, (first, each(10), "10"), (second, each(10), "10")))
    assert worth(world.warehouse) == 0
    assert price_variance() == -30_000_000
    shares = InvoiceShare.objects.values_list("line__position", "quantity", "value", "is_booked_there")
    assert list(shares) == [
        (1, 10_000_000, -90_000_000, True),
        (2, 10_000_000, -60_000_000, True),
        (2, 0, -30_000_000, False),
    ]


@pytest.mark.parametrize(("price", "kept"), [("110", 44_000_000), ("90", 36_000_000)])
def test_a_bill_undone_leaves_the_work_that_was_closed_since(price: str, kept: int) -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    invoice = record(world, bill(world, (receipt, each(10), price)))
    undo_invoice(
        invoice=invoice,
        by=world.actor,
        occurred_at=at(101),
        reason="Not ours.",
        closed_places=only(world.span),
    )
    assert worth(world.span) == kept
    assert worth(world.warehouse) == 60_000_000
    assert price_variance() == 40_000_000 - kept
    assert worth(Place.objects.get(code="supplier:mill")) == -100_000_000
    assert InvoiceShare.objects.get(is_booked_there=True).place == world.span


def test_a_bill_undone_leaves_the_work_of_a_period_that_was_closed_since() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    close_period(last_date=date(2026, 3, 6), by=world.actor, occurred_at=at(24 * 10))
    undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(24 * 11), reason="Not ours.")
    assert worth(world.span) == 44_000_000
    assert worth(world.warehouse) == 60_000_000
    assert price_variance() == -4_000_000


def test_shares_of_bills_that_were_undone_long_ago_are_unmarked_by_a_migration() -> None:
    """Undoing left every share marked once; work that was stated by then keeps its mark."""
    world = make("fifo")
    other = Place.objects.create(code="span:old", name="Old", kind="span")
    for number, place in enumerate((world.span, other)):
        receipt = get_pads(world, 10, "100", hours=number)
        use(world, 10, number + 0.5, place)
        invoice = record(world, bill(world, (receipt, each(10), "110"), number=f"B-{number}"))
        undo_invoice(
            invoice=invoice, by=world.actor, occurred_at=at(101), reason="No.", closed_places=only(other)
        )
    standing = get_pads(world, 10, "100", hours=9)
    record(world, bill(world, (standing, each(10), "120"), number="B-9"))
    shares = InvoiceShare.objects.filter(line__invoice__number="B-0")
    assert list(shares.values_list("is_booked_there", flat=True)) == [False]
    shares.update(is_booked_there=True)
    migration = import_module("inventory.migrations.0009_unmark_shares_of_undone_bills")
    migration.unmark_shares(apps, None)
    marked = InvoiceShare.objects.filter(is_booked_there=True)
    assert set(marked.values_list("line__invoice__number", "place__code")) == {
        ("B-1", "span:old"),
        ("B-9", "main-yard"),
    }


def test_a_bill_undone_is_taken_back_from_where_the_goods_took_its_difference() -> None:
    """Ten billed at 20 more than booked; six of them leave for open work and ten others come after them."""
    world = make("weighted_average")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), "120")))
    use(world, 6, 101)
    get_pads(world, 10, "200", hours=102)
    use(world, 4, 103, other := Place.objects.create(code="span:other", name="Other", kind="span"))
    undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(110), reason="Not ours.")
    # Without the bill six cost 60, and four of the fourteen that are left 240 * 4 / 14.
    assert worth(world.span) == 60_000_000
    assert worth(other) == 68_571_429
    assert worth(world.warehouse) == 240_000_000 - 68_571_429
    assert price_variance() == 0
    assert not InvoiceShare.objects.filter(is_booked_there=True).exists()


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
@pytest.mark.parametrize(("price", "change"), [("120", 20), ("80", -20)])
@pytest.mark.outside_check(
    "IAS 2 paragraphs 10, 11, 34, each place is worth what it were without the bill; how known: by hand"
)
def test_a_bill_undone_leaves_the_book_as_without_it(formula: str, price: str, change: int) -> None:
    worths = []
    for is_billed in (True, False):
        with transaction.atomic():
            world = make(formula)
            receipt = get_pads(world, 10, "100")
            use(world, 2, 1)
            if is_billed:
                invoice = record(world, bill(world, (receipt, each(10), price)))
                assert worth(world.span) + worth(world.warehouse) == (100 + change) * 1_000_000
            use(world, 8, 101)
            get_pads(world, 5, "90", hours=102)
            back = Line(world.projectile, each(3), End(world.span), End(world.vehicle))
            return_goods(id=uuid4(), by=world.actor, occurred_at=at(103), lines=[back])
            if is_billed:
                undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(110), reason="Not ours.")
                assert list(verify_ledger()) == []
            worths.append([worth(place) for place in (world.span, world.warehouse, world.vehicle)])
            assert price_variance() == 0
            transaction.set_rollback(True)
    assert worths[0] == worths[1] == [70_000_000, 90_000_000, 30_000_000]


def test_a_bill_undone_leaves_its_difference_on_work_that_got_the_goods_and_was_closed() -> None:
    """Nothing was used when the bill came; what used the goods since is over by now."""
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    use(world, 10, 101)
    get_pads(world, 10, "100", hours=102)
    undo_invoice(
        invoice=invoice,
        by=world.actor,
        occurred_at=at(110),
        reason="Not ours.",
        closed_places=only(world.span),
    )
    assert (worth(world.span), worth(world.warehouse)) == (110_000_000, 100_000_000)
    assert price_variance() == -10_000_000
    left = InvoiceShare.objects.get(is_booked_there=True)
    assert (left.place, left.value) == (world.span, 10_000_000)


def test_what_is_billed_and_what_is_accrued_add_up_to_what_was_booked() -> None:
    """Two pieces for three millionths: one billed takes two of them, the other is accrued with one."""
    world = make("fifo")
    receipt = get_pads(world, 2, "0.000003")
    invoice = record(world, bill(world, (receipt, each(1), "0.000002")))
    [left] = list_unbilled(until=BILLED)
    assert invoice.lines.get().booked + left.accrued == left.value == 3


@pytest.mark.parametrize(("came", "change"), [(8, 20_000_000), (10, 20_000_000)])
def test_freight_is_kept_in_full_where_not_all_that_was_billed_has_come(came: int, change: int) -> None:
    world = make("fifo")
    receipt = get_pads(world, came, str(came * 10))
    charges = [Charge("freight", to_money_millionths("20"), "count")]
    record(world, bill(world, (receipt, each(10), "100"), charges=charges))
    assert worth(world.warehouse) == came * 10_000_000 + change


def test_what_closed_work_used_goes_to_price_variance_and_remembers_where() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    record(world, bill(world, (receipt, each(10), "110")), closed_places=only(world.span))
    assert worth(world.span) == 40_000_000
    assert price_variance() == 4_000_000
    share = InvoiceShare.objects.get(place=world.span)
    assert (share.value, share.is_booked_there) == (4_000_000, False)


def test_what_was_used_in_a_closed_period_goes_to_price_variance_and_the_rest_does_not() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    close_period(last_date=date(2026, 3, 2), by=world.actor, occurred_at=at(48))
    use(world, 2, 50)
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    assert worth(world.span) == 60_000_000 + 2_000_000
    assert price_variance() == 4_000_000
    assert invoice.entry is not None
    assert invoice.entry.booked_date > date(2026, 3, 2)


def test_what_is_in_none_of_our_places_goes_to_price_variance() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    line = Line(world.projectile, each(5), End(world.warehouse), End(world.waste))
    dispose(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    record(world, bill(world, (receipt, each(10), "110")))
    assert price_variance() == 5_000_000
    assert worth(world.warehouse) == 55_000_000


def test_freight_is_part_of_the_cost() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    charges = [Charge("freight", to_money_millionths("20"), "count")]
    record(world, bill(world, (receipt, each(10), "100"), charges=charges))
    assert worth(world.warehouse) == 120_000_000


def test_a_charge_by_weight_needs_the_weight() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    charges = [Charge("freight", to_money_millionths("20"), "weight")]
    with pytest.raises(BadInput, match="what Projectile 12 mm weighs is not known"):
        record(world, bill(world, (receipt, each(10), "100"), charges=charges))
    assert not SupplierInvoice.objects.exists()


def test_a_bill_in_another_currency_is_taken_at_its_rate() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    record(world, bill(world, (receipt, each(10), "100"), currency="EUR", rate="1.08"))
    assert worth(world.warehouse) == 108_000_000


def test_what_was_billed_and_did_not_come_changes_nothing() -> None:
    world = make("fifo")
    receipt = get_pads(world, 8, "80")
    invoice = record(world, bill(world, (receipt, each(10), "100")))
    line = invoice.lines.get()
    assert (line.quantity, line.matched_quantity, line.difference) == (10_000_000, 8_000_000, 0)
    assert invoice.entry is None
    assert worth(world.warehouse) == 80_000_000


def test_a_receipt_is_billed_in_parts_and_accrued_until_it_is_whole() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    [open_part] = list_unbilled(until=BILLED)
    assert (open_part.unbilled, open_part.accrued) == (10_000_000, 100_000_000)
    record(world, bill(world, (receipt, each(6), "60")))
    [open_part] = list_unbilled(until=BILLED, supplier=get_supplier())
    assert (open_part.unbilled, open_part.accrued) == (4_000_000, 40_000_000)
    record(world, bill(world, (receipt, each(4), "40"), number="B-2"))
    assert list_unbilled(until=BILLED) == []


def test_a_bill_sent_again_is_the_same_and_another_under_its_id_is_refused() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    known = uuid4()
    first = record(world, bill(world, (receipt, each(10), "110")), id=known)
    assert record(world, bill(world, (receipt, each(10), "110")), id=known) == first
    assert worth(world.warehouse) == 110_000_000
    with pytest.raises(DocumentConflict):
        record(world, bill(world, (receipt, each(10), "120")), id=known)


def test_a_reversed_bill_gives_the_receipt_back_to_be_billed() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    assert invoice.entry is not None
    reverse(id=uuid4(), by=world.actor, entry=invoice.entry, reason="wrong supplier")
    assert worth(world.warehouse) == 100_000_000
    assert len(list_unbilled(until=BILLED)) == 1


def test_every_fault_of_a_bill_is_named_and_nothing_is_kept() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    sent = bill(
        world,
        (receipt, each(10), "1"),
        number=" ",
        currency="ZZZ",
        rate="0",
    )
    with pytest.raises(BadInput) as refusal:
        record(world, sent)
    assert [fault.pointer for fault in refusal.value.faults] == [
        "/number", "/currency", "/rate",
    ]  # fmt: skip
    assert not SupplierInvoice.objects.exists()


@pytest.mark.parametrize(
    ("price", "also"), [("10000000", {"currency": "EUR", "rate": "999999999"}), ("1e12", {})]
)
def test_a_bill_too_large_to_be_kept_is_refused(price: str, also: dict[str, str]) -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    sent = bill(world, (receipt, each(10), price), charges=[Charge("freight", 1)], **also)
    with pytest.raises(BadInput, match="brings the bill above"):
        record(world, sent)
    assert not SupplierInvoice.objects.exists()


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
def test_a_receipt_is_reversed_only_after_the_bill_that_changed_its_cost(formula: str) -> None:
    world = make(formula)
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    with pytest.raises(ReceiptIsBilled, match="Bill B-1 of Foam Mill"):
        reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    assert worth(world.warehouse) >= 110_000_000
    assert invoice.entry is not None
    reverse(id=uuid4(), by=world.actor, entry=invoice.entry, reason="Receipt was wrong.")
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    assert worth(Place.objects.get(code="supplier:mill")) == price_variance() == 0


def test_a_receipt_billed_as_booked_may_be_reversed() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    record(world, bill(world, (receipt, each(10), "100")))
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    assert worth(Place.objects.get(code="supplier:mill")) == 0


def test_every_fault_of_a_charge_is_named() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    sent = bill(world, (receipt, each(10), "1"), charges=[Charge("freight", 0, "length")])
    with pytest.raises(BadInput) as refusal:
        record(world, sent)
    pointers = [fault.pointer for fault in refusal.value.faults]
    assert pointers == ["/charges/0/amount", "/charges/0/share_by"]
    assert not SupplierInvoice.objects.exists()


def test_a_bill_for_goods_of_another_supplier_is_refused() -> None:
    world = make("fifo")
    world.drum("D-1", 55, cost=100)
    receipt = Entry.objects.get(kind="receipt")
    line = BilledLine(receipt, world.fluid, gal(55), 100_000_000)
    with pytest.raises(BadInput, match="not from Foam Mill"):
        record(world, bill(world, lines=[line]))


def test_a_bill_number_is_used_once_by_a_supplier() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    record(world, bill(world, (receipt, each(5), "50")))
    with pytest.raises(BadInput, match="was recorded already"):
        record(world, bill(world, (receipt, each(5), "50")))


def freight(world: World, *receipts: Entry, amount: str = "20", share_by: str = "value", **also: Any) -> Bill:
    """A carrier's bill, which names no goods of its own."""
    carrier = save_party(code="carrier", name="Road Carrier", is_supplier=True)
    charge = BilledCharge("freight", to_money_millionths(amount), share_by, receipts)
    sent = Bill(supplier=carrier, number="F-1", invoice_date=BILLED, charges=[charge])
    return replace(sent, **also)


@pytest.mark.parametrize("formula", ["fifo", "weighted_average"])
@pytest.mark.outside_check("IAS 2 paragraphs 10, 11, transport is cost of purchase; how known: by hand")
def test_a_carriers_later_bill_follows_the_goods_it_was_paid_for(formula: str) -> None:
    world = make(formula)
    receipt = get_pads(world, 10, "100")
    use(world, 4, 1)
    invoice = record(world, freight(world, receipt))
    assert worth(world.warehouse) == 60_000_000 + 12_000_000
    assert worth(world.span) == 40_000_000 + 8_000_000
    assert worth(Place.objects.get(code="supplier:carrier")) == -20_000_000
    line = invoice.lines.get()
    assert (line.is_for_goods, line.price, line.matched_quantity, line.difference) == (
        False,
        0,
        0,
        20_000_000,
    )
    assert list(verify_ledger()) == []


def test_a_carriers_bill_leaves_the_receipt_waiting_for_its_own() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    record(world, freight(world, receipt))
    assert [row.accrued for row in list_unbilled(until=BILLED)] == [100_000_000]
    record(world, bill(world, (receipt, each(10), "100")))
    assert worth(world.warehouse) == 120_000_000
    assert list_unbilled(until=BILLED) == []


@pytest.mark.parametrize(
    ("share_by", "pads", "fluid"),
    # 100 and 300 of value; 2 kg and 8 gal of 1,020 kg/m3 that weigh 30.88896 kg; 10 pieces and 8 gal.
    [("value", 5_000_000, 15_000_000), ("weight", 1_216_214, 18_783_786), ("count", 11_111_111, 8_888_889)],
)
@pytest.mark.outside_check("a US gallon is 231 in3 and an inch 25.4 mm; how known: definition, by hand")
def test_freight_of_a_receipt_is_shared_over_all_that_it_brought(
    share_by: str, pads: int, fluid: int
) -> None:
    world = make("weighted_average")
    world.projectile.mass_kg_per_unit = 0.2
    world.projectile.save()
    drum = Container(label="D-9", kind="drum", material=world.fluid, owner=world.company)
    drum.place, drum.received_at, drum.capacity = world.warehouse, at(0), 57_000_000
    receipt = receive(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(0),
        source=Place.objects.get(code="supplier:mill"),
        lines=[
            ReceiptLine(world.projectile, each(10), End(world.warehouse), to_money_millionths("100")),
            ReceiptLine(world.fluid, gal(8), End(world.warehouse, drum), to_money_millionths("300")),
        ],
    )
    invoice = record(world, freight(world, receipt, share_by=share_by))
    shares = {line.material.code: line.difference for line in invoice.lines.all()}
    assert shares == {"projectile-12": pads, "fluid": fluid}


def test_freight_of_several_receipts_and_goods_come_on_one_bill() -> None:
    world = make("fifo")
    first, second = get_pads(world, 10, "100"), get_pads(world, 10, "300", hours=1)
    charges = [
        Charge("order cost", to_money_millionths("5")),
        BilledCharge("duty", to_money_millionths("8"), "value", (first, second)),
    ]
    invoice = record(world, bill(world, (second, each(10), "300"), charges=charges))
    told = [(line.receipt_id, line.is_for_goods, line.difference) for line in invoice.lines.all()]
    assert told == [
        (second.pk, True, 5_000_000),
        (first.pk, False, 2_000_000),
        (second.pk, False, 6_000_000),
    ]
    assert worth(world.warehouse) == 413_000_000


def test_freight_of_goods_that_a_closed_job_used_is_known_there() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    use(world, 5, 1)
    record(world, freight(world, receipt), closed_places=only(world.span))
    assert worth(world.span) == 50_000_000
    assert price_variance() == 10_000_000
    assert InvoiceShare.objects.get(place=world.span).is_booked_there is False


def test_a_carriers_bill_that_cannot_be_shared_is_refused_and_nothing_kept() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    with pytest.raises(BadInput, match="what Projectile 12 mm weighs is not known"):
        record(world, freight(world, receipt, share_by="weight"))
    with pytest.raises(BadInput, match="must be more than nothing"):
        record(world, freight(world, receipt, amount="0"))
    with pytest.raises(BadInput, match="must name at least one received material"):
        record(world, freight(world))
    with pytest.raises(BadInput, match="is no supplier"):
        record(world, freight(world, receipt, supplier=world.customer))
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    with pytest.raises(BadInput, match="/charges/0/receipts"):
        record(world, freight(world, receipt))
    assert not SupplierInvoice.objects.exists()
    assert worth(Place.objects.get(code="supplier:carrier")) == 0


def test_a_receipt_is_not_reversed_under_its_freight() -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, freight(world, receipt))
    with pytest.raises(ReceiptIsBilled, match="Bill F-1 of Road Carrier"):
        reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(101), reason="Not ours.")
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    assert worth(Place.objects.get(code="supplier:carrier")) == price_variance() == 0


@pytest.mark.parametrize("price", ["100", "110"])
def test_a_bill_with_or_without_a_difference_is_undone_and_billed_anew(price: str) -> None:
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), price)))
    assert list_unbilled(until=BILLED) == []
    for _again in range(2):
        undone = undo_invoice(
            invoice=invoice, by=world.other_actor, occurred_at=at(101), reason="Wrong supplier."
        )
    assert (undone.undone_by, undone.undone_reason) == (world.other_actor, "Wrong supplier.")
    assert worth(world.warehouse) == 100_000_000
    assert [row.accrued for row in list_unbilled(until=BILLED)] == [100_000_000]
    record(world, bill(world, (receipt, each(10), "120")))
    assert worth(world.warehouse) == 120_000_000
    assert list(verify_ledger()) == []


def test_a_bill_is_undone_with_a_reason_only() -> None:
    world = make("fifo")
    invoice = record(world, bill(world, (get_pads(world, 10, "100"), each(10), "100")))
    with pytest.raises(BadInput, match="must say why"):
        undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(101), reason=" ")
    assert SupplierInvoice.objects.get().undone_at is None


def test_an_accrual_of_a_past_day_knows_no_later_bill_or_undoing() -> None:
    """Received on the 2nd, billed on the 6th, the bill undone in a later period, the receipt then too."""
    world = make("fifo")
    receipt = get_pads(world, 10, "100")
    invoice = record(world, bill(world, (receipt, each(10), "110")))
    second, sixth = date(2026, 3, 2), date(2026, 3, 6)
    assert [row.accrued for row in list_unbilled(until=date(2026, 3, 5))] == [100_000_000]
    assert list_unbilled(until=sixth) == []
    close_period(last_date=sixth, by=world.actor, occurred_at=at(24 * 10))
    undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(24 * 11), reason="Not ours.")
    assert list_unbilled(until=sixth) == []
    assert [row.accrued for row in list_unbilled(until=date(2026, 3, 7))] == [100_000_000]
    close_period(last_date=date(2026, 3, 8), by=world.actor, occurred_at=at(24 * 12))
    reverse(id=uuid4(), by=world.actor, entry=receipt, reason="Came to another yard.")
    assert [row.accrued for row in list_unbilled(until=second)] == [100_000_000]
    assert [row.accrued for row in list_unbilled(until=date(2026, 3, 8))] == [100_000_000]
    assert list_unbilled(until=date(2026, 3, 9)) == []
