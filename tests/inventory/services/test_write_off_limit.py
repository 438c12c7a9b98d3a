"""The limit for one person: who changes it, and every way by which value leaves the books under it."""

from datetime import date
from typing import Any
from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Company, CostPool, DomainEvent, Entry, Party, Place, SecondWord
from inventory.queries.open_points import list_open_points
from inventory.queries.verification import verify_ledger
from inventory.services.accounting.bills import Bill, BilledLine
from inventory.services.accounting.deeds import give_second_word
from inventory.services.accounting.invoices import record_invoice
from inventory.services.accounting.write_offs import ask_for_revaluation
from inventory.services.corrections import Revaluation, dispose, revalue, reverse
from inventory.services.counts import Found, count
from inventory.services.lines import Line, WrongPlace
from inventory.services.parties import save_party
from inventory.services.posting import End
from inventory.services.posting.special_places import get_special_place
from inventory.services.receipts import ReceiptLine, receive
from inventory.services.second_word import DecidedOtherwise, OwnRequest
from inventory.services.waste import hand_over_waste
from inventory.services.write_off_limit import SecondWordNeeded, ask_for_write_off_limit, set_write_off_limit
from tests.factories.inventory import World, at, each, held, make_world

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


@pytest.fixture
def world() -> World:
    """Ten pieces worth 100 in the warehouse, and 50 as the limit."""
    world = make_world()
    world.loose(world.projectile, each(10), cost=100)
    set_write_off_limit(limit=50_000_000, by=world.actor, occurred_at=at(0))
    return world


def limit() -> int | None:
    return Company.objects.get().write_off_limit


def worth(place: Place) -> int:
    return sum(CostPool.objects.filter(place=place).values_list("value", flat=True))


def changed(world: World, value: int, against: Place, **also: Any) -> Entry:
    changes = [Revaluation(world.projectile, world.warehouse, value)]
    asking = {"id": uuid4(), "by": world.actor, "occurred_at": at(2), "reason": "worth something else"}
    return revalue(changes=changes, against=against, **(asking | also))


def lost(world: World, found: int, *, hours: float = 1) -> Entry:
    line = Found(world.projectile, each(found), End(world.warehouse))
    return count(id=uuid4(), by=world.actor, occurred_at=at(hours), found=[line])


def disposal(world: World, pieces: int, **also: Any) -> Entry:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(world.waste))
    asking = {"id": uuid4(), "by": world.actor, "occurred_at": at(2), "reason": "soaked"}
    return dispose(lines=[line], **(asking | also))


def decided(word: SecondWord, by: Any, *, is_granted: bool) -> SecondWord:
    return give_second_word(id=word.uuid, by=by, decided_at=at(3), is_granted=is_granted)


@pytest.mark.parametrize("higher", [None, 50_000_001])
def test_nobody_raises_or_lifts_the_limit_alone(world: World, higher: int | None) -> None:
    with pytest.raises(SecondWordNeeded, match=r"lower the limit of 50\.00 USD, not raise or lift it"):
        set_write_off_limit(limit=higher, by=world.actor, occurred_at=at(1))
    assert limit() == 50_000_000


def test_the_limit_is_lowered_at_once_and_the_book_tells_by_whom(world: World) -> None:
    for _again in range(2):
        set_write_off_limit(limit=20_000_000, by=world.actor, occurred_at=at(1))
    assert limit() == 20_000_000
    told = DomainEvent.objects.filter(kind="write_off_limit_changed").order_by("pk")
    assert [event.body for event in told] == [
        {"before": None, "after": 50_000_000, "by": world.actor.code},
        {"before": 50_000_000, "after": 20_000_000, "by": world.actor.code},
    ]


@pytest.mark.parametrize("higher", [None, 80_000_000])
def test_the_limit_is_raised_by_somebody_else(world: World, higher: int | None) -> None:
    asked = ask_for_write_off_limit(
        id=uuid4(), by=world.actor, occurred_at=at(1), limit=higher, reason="one person only"
    )
    with pytest.raises(OwnRequest):
        decided(asked, world.actor, is_granted=True)
    assert limit() == 50_000_000
    for _again in range(2):
        decided(asked, world.other_actor, is_granted=True)
    assert limit() == higher
    told = DomainEvent.objects.filter(kind="write_off_limit_changed").order_by("pk").last()
    assert told is not None
    assert told.body == {
        "before": 50_000_000,
        "after": higher,
        "by": world.actor.code,
        "agreed_by": world.other_actor.code,
        "request": str(asked.uuid),
        "reason": "one person only",
    }


def test_a_limit_below_nothing_is_refused(world: World) -> None:
    with pytest.raises(BadInput):
        set_write_off_limit(limit=-1, by=world.actor, occurred_at=at(1))
    with pytest.raises(BadInput):
        ask_for_write_off_limit(id=uuid4(), by=world.actor, occurred_at=at(1), limit=-1, reason="x")


def test_no_document_hides_a_write_off_from_the_sum(world: World) -> None:
    disposal(world, 3, document="invoice:1")
    with pytest.raises(SecondWordNeeded):
        disposal(world, 3, document="invoice:1")


def test_what_a_bill_took_off_is_not_added_up(world: World) -> None:
    save_party(code="mill", name="Mill", is_supplier=True)
    line = ReceiptLine(world.projectile, each(10), End(world.warehouse), 100_000_000)
    source = Place.objects.get(code="supplier:mill")
    receipt = receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=source, lines=[line])
    billed = BilledLine(receipt, world.projectile, each(10), 60_000_000)
    bill = Bill(supplier=Party.objects.get(code="mill"), number="B-1", invoice_date=DAY, lines=[billed])
    invoice = record_invoice(id=uuid4(), by=world.actor, occurred_at=at(1), bill=bill)
    assert invoice.entry is not None
    disposal(world, 5)
    assert worth(world.waste) == 40_000_000


def test_value_goes_back_to_a_supplier_above_the_limit_by_no_single_person(world: World) -> None:
    with pytest.raises(SecondWordNeeded):
        changed(world, -60_000_000, world.supplier)
    changed(world, -30_000_000, world.supplier)
    with pytest.raises(SecondWordNeeded):
        changed(world, -30_000_000, world.supplier)
    assert worth(world.warehouse) == 70_000_000


@pytest.mark.outside_check(
    "IAS 2 paragraphs 9-11, 33: no higher than cost, cost is what was paid; how known: from memory"
)
@pytest.mark.parametrize("kind", [Place.Kind.PRICE_VARIANCE, Place.Kind.SUPPLIER])
def test_goods_are_put_above_cost_by_a_bill_or_two_persons(world: World, kind: Place.Kind) -> None:
    against = world.supplier if kind == Place.Kind.SUPPLIER else get_special_place(kind)
    with pytest.raises(SecondWordNeeded, match="above what it was booked at"):
        changed(world, 1, against)
    changes = [Revaluation(world.projectile, world.warehouse, 5_000_000)]
    asked = ask_for_revaluation(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        changes=changes,
        against=against,
        reason="freight",
        document="F-1",
    )
    assert worth(world.warehouse) == 100_000_000
    for _again in range(2):
        decided(asked, world.other_actor, is_granted=True)
    assert worth(world.warehouse) == 105_000_000
    entry = Entry.objects.get(kind="revaluation")
    assert (entry.actor, entry.document, entry.reason) == (world.actor, "F-1", "freight (agreed by Crew)")
    assert list(verify_ledger()) == []


def test_a_change_of_value_is_asked_against_a_supplier_or_price_variance_only(world: World) -> None:
    asking: dict[str, Any] = {"id": uuid4(), "by": world.actor, "occurred_at": at(1), "reason": "x"}
    change = Revaluation(world.projectile, world.warehouse, 1)
    with pytest.raises(WrongPlace):
        ask_for_revaluation(changes=[change], against=get_special_place(Place.Kind.WRITE_DOWN), **asking)
    with pytest.raises(BadInput, match="at least one material"):
        ask_for_revaluation(changes=[], against=world.supplier, **asking)


def test_a_count_that_loses_more_than_the_limit_is_booked_and_somebody_else_is_asked(world: World) -> None:
    entry = lost(world, 0)
    assert held(world.warehouse, world.projectile) == 0
    asked = SecondWord.objects.get()
    assert (asked.kind, asked.body) == ("seen", {"entry": str(entry.uuid), "value": 100_000_000})


def test_a_count_within_the_limit_or_that_finds_more_asks_nobody(world: World) -> None:
    lost(world, 5)
    lost(world, 500, hours=2)
    assert not SecondWord.objects.exists()


def test_losses_of_counts_and_write_offs_of_one_person_add_up(world: World) -> None:
    lost(world, 7)
    with pytest.raises(SecondWordNeeded, match=r"60\.00 USD"):
        disposal(world, 3)


def test_waste_handed_over_above_the_limit_is_booked_and_somebody_else_is_asked(world: World) -> None:
    drum = world.drum("W1", 5, cost=60)
    handed = {"containers": [drum], "number": "MF-1", "receiver": "Carrier (invented)"}
    hand_over_waste(id=uuid4(), by=world.actor, occurred_at=at(5), **handed)
    assert SecondWord.objects.get().body["value"] == 60_000_000


@pytest.fixture
def refused(world: World) -> tuple[Entry, SecondWord]:
    """What was gone already, booked at once, and not agreed to."""
    entry = disposal(world, 6, as_report=True)
    word = SecondWord.objects.get()
    assert open_points() == [("second_word", str(word.uuid))]
    return entry, decided(word, world.other_actor, is_granted=False)


def open_points(until: date = DAY) -> list[tuple[str, str]]:
    return [(point.kind, point.name) for point in list_open_points(until) if point.kind != "receipt"]


def test_what_was_not_agreed_to_stays_open_until_it_is_undone(
    world: World, refused: tuple[Entry, SecondWord]
) -> None:
    entry, word = refused
    assert open_points() == [("not_agreed", str(word.uuid))]
    assert open_points(date(2026, 3, 1)) == []
    reverse(id=uuid4(), by=world.actor, entry=entry, reason="they lay elsewhere")
    assert open_points() == []


def test_what_was_not_agreed_to_is_agreed_to_once_explained(
    world: World, refused: tuple[Entry, SecondWord]
) -> None:
    _entry, word = refused
    with pytest.raises(OwnRequest):
        decided(word, world.actor, is_granted=True)
    decided(word, world.other_actor, is_granted=True)
    assert open_points() == []
    with pytest.raises(DecidedOtherwise):
        decided(word, world.other_actor, is_granted=False)
    kinds = DomainEvent.objects.filter(kind__startswith="second_word").order_by("pk")
    assert list(kinds.values_list("kind", flat=True)) == [
        "second_word_asked", "second_word_refused", "second_word_granted",
    ]  # fmt: skip
