"""Lines for the general ledger never drift from the book."""

from datetime import date
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum

from inventory.errors import BadInput
from inventory.models import AccountRule, Company, JournalBatch, JournalLine, Place
from inventory.queries.account_balances import AccountMissing, sum_accounts, tie_accounts
from inventory.queries.stock_accounts import roll_forward
from inventory.services.accounting.journal import (
    AccountSetting,
    BatchWasAnswered,
    BatchWasRejected,
    NothingToExport,
    answer_batch,
    make_batch,
    remake_batch,
    set_accounts,
)
from inventory.services.accounting.periods import close_period
from inventory.services.corrections import Revaluation, revalue
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.posting import End
from tests.factories.inventory import World, at, each, make_world

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)
STOCK, USED, PAYABLE, DIFFERENCE = "1400", "5100", "2000", "5900"


def map_all(stock: str = STOCK, used: str = USED) -> None:
    use = dict.fromkeys(Place.USE_KINDS, used)
    goods = dict.fromkeys(Place.STOCK_KINDS, stock)
    other = {"supplier": PAYABLE, "variance": DIFFERENCE, "price_variance": DIFFERENCE, "waste": DIFFERENCE}
    other |= {"write_down": DIFFERENCE, "plant": USED, "customer": PAYABLE, "process": DIFFERENCE}
    set_accounts(settings=[AccountSetting(kind, account) for kind, account in (use | goods | other).items()])


@pytest.fixture
def world() -> World:
    world = make_world()
    # A third of a cent each: what rounding likes to lose.
    world.loose(world.projectile, each(30), cost="0.10")
    map_all()
    return world


def use(world: World, pieces: int, hours: float) -> None:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(world.span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def batch(world: World, until: date = DAY) -> JournalBatch:
    return make_batch(by=world.actor, made_at=at(30), booked_until=until)


def amounts(made: JournalBatch) -> dict[str, int]:
    rows = made.lines.values_list("account").annotate(Sum("amount"))
    return {account: amount for account, amount in rows if amount}


def test_make_batch_balances_and_is_in_whole_coins(world: World) -> None:
    assert amounts(batch(world)) == {STOCK: 10, PAYABLE: -10}


@pytest.mark.outside_check(
    "ISO 4217 minor units: JPY 0, USD 2, KWD 3; how known: from memory, worked by hand"
)
@pytest.mark.parametrize(("currency", "coins"), [("JPY", 0), ("USD", 10), ("KWD", 100)])
def test_lines_are_whole_coins_of_the_companys_currency(world: World, currency: str, coins: int) -> None:
    """A tenth of the currency's unit: nothing in yen, ten cents, a hundred fils; then 7.4567 more."""
    Company.objects.update(currency=currency)
    if not coins:
        with pytest.raises(NothingToExport):
            batch(world)
    else:
        assert amounts(batch(world)) == {STOCK: coins, PAYABLE: -coins}
    world.loose(world.projectile, each(15), cost="7.4567")
    whole = {"JPY": 8, "USD": 756, "KWD": 7557}[currency]
    batch(world)
    total = dict(JournalLine.objects.order_by().values_list("account").annotate(Sum("amount")))
    assert total == {STOCK: whole, PAYABLE: -whole}


def test_thirty_batches_of_a_third_of_a_cent_add_up_to_the_book(world: World) -> None:
    batch(world)
    for piece in range(30):
        use(world, 1, 1 + piece / 10)
        try:
            made = batch(world)
        except NothingToExport:
            continue
        assert sum(line.amount for line in made.lines.all()) == 0
    total = dict(JournalLine.objects.order_by().values_list("account").annotate(Sum("amount")))
    assert total == {STOCK: 0, PAYABLE: -10, USED: 10}


def test_a_batch_takes_only_what_is_booked_up_to_its_day(world: World) -> None:
    use(world, 30, 24)
    assert amounts(batch(world)) == {STOCK: 10, PAYABLE: -10}
    assert amounts(batch(world, date(2026, 3, 3))) == {STOCK: -10, USED: 10}
    with pytest.raises(BadInput, match="lies before 2026-03-03"):
        batch(world)


def test_the_tie_of_a_past_day_knows_no_later_batch_and_closes_with_the_stock(world: World) -> None:
    batch(world)
    use(world, 10, 24)
    batch(world, date(2026, 3, 3))
    past, now = tie_accounts(booked_until=DAY), tie_accounts(booked_until=date(2026, 3, 3))
    told = {tie.account: (tie.balance, tie.exported, tie.not_sealed) for tie in past.accounts}
    assert told == {STOCK: (100_000, 10, 0), PAYABLE: (-100_000, -10, 0)}
    assert (past.closing, past.in_stock) == (100_000, 100_000)
    assert {tie.account: tie.exported for tie in now.accounts}[STOCK] == 7


def test_the_tie_shows_apart_what_is_not_sealed(world: World) -> None:
    batch(world)
    use(world, 15, 1)
    found = tie_accounts(booked_until=DAY)
    told = {tie.account: (tie.balance, tie.in_stock, tie.not_sealed) for tie in found.accounts}
    assert told[STOCK] == (50_000, 50_000, -50_000)
    assert told[USED] == (50_000, 0, 50_000)
    assert found.closing == found.in_stock == 50_000


def test_lines_name_the_job_that_goods_are_charged_to(world: World) -> None:
    job = Place.objects.create(code="job:J", name="J", kind="job")
    run = Place.objects.create(code="run:J:R", name="R", kind="run", parent=job)
    span = Place.objects.create(code="span:J:S", name="S", kind="span", parent=run)
    line = Line(world.projectile, each(30), End(world.warehouse), End(span))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[line])
    made = batch(world)
    assert made.lines.get(account=USED).job_place == job


def test_a_late_event_of_a_closed_period_comes_with_the_open_one(world: World) -> None:
    close_period(last_date=DAY, by=world.actor, occurred_at=at(48))
    use(world, 30, 2)
    assert amounts(batch(world)) == {STOCK: 10, PAYABLE: -10}
    assert amounts(batch(world, date(2026, 3, 3))) == {STOCK: -10, USED: 10}


def test_another_account_takes_over_what_the_old_one_had(world: World) -> None:
    batch(world)
    map_all(stock="1500")
    assert amounts(batch(world)) == {STOCK: -10, "1500": 10}


def test_make_batch_without_an_account_names_the_kind_of_place_and_writes_nothing(world: World) -> None:
    AccountRule.objects.filter(place_kind="warehouse").delete()
    with pytest.raises(AccountMissing, match="projectile at warehouse"):
        batch(world)
    assert not JournalBatch.objects.exists()


def test_make_batch_without_anything_new_is_refused(world: World) -> None:
    batch(world)
    with pytest.raises(NothingToExport):
        batch(world)


def test_a_rejected_batch_is_made_anew_under_its_number(world: World) -> None:
    first = batch(world)
    for _again in range(2):
        answer_batch(number=1, is_accepted=False, answered_at=at(31), answer="1400 is closed")
    use(world, 30, 1)
    with pytest.raises(BatchWasRejected, match="1400 is closed"):
        batch(world)
    map_all(stock="1500")
    again = remake_batch(number=1, by=world.actor, made_at=at(32))
    assert again.pk == first.pk
    assert amounts(again) == {"1500": 10, PAYABLE: -10}
    answer_batch(number=1, is_accepted=True, answered_at=at(33))
    with pytest.raises(BatchWasAnswered):
        answer_batch(number=1, is_accepted=False, answered_at=at(34))
    with pytest.raises(BatchWasAnswered):
        remake_batch(number=1, by=world.actor, made_at=at(34))
    assert amounts(batch(world)) == {"1500": -10, USED: 10}


def test_what_was_rejected_is_kept_as_it_went_out(world: World) -> None:
    first = batch(world)
    sent = list(first.lines.values_list("line", "account", "amount", "exact_balance"))
    for number, account in enumerate(("1500", "1600"), start=1):
        reason = f"closed, time {number}"
        answer_batch(number=1, is_accepted=False, answered_at=at(30 + number), answer=reason)
        map_all(stock=account)
        remake_batch(number=1, by=world.other_actor, made_at=at(40 + number))
    rejected = list(first.rejected.all())
    assert [(row.attempt, row.answer, row.rejected_at) for row in rejected] == [
        (1, "closed, time 1", at(31)),
        (2, "closed, time 2", at(32)),
    ]
    kept = [
        (line["line"], line["account"], line["amount"], line["exact_balance"]) for line in rejected[0].lines
    ]
    assert (kept, rejected[0].made_by) == (sent, world.actor)
    assert {line["account"] for line in rejected[1].lines} == {"1500", PAYABLE}
    with pytest.raises(IntegrityError, match="the book is immutable"), transaction.atomic():
        rejected[0].delete()


def test_what_a_remade_batch_takes_from_an_account_is_brought_by_the_next(world: World) -> None:
    """The second batch's line stands, but what it was the difference to went to another account since."""
    job, _other = make_jobs("AB")
    draw_to(world, job, 1, pieces=10)
    batch(world)
    draw_to(world, job, 2, pieces=10)
    batch(world)
    answer_batch(number=1, is_accepted=False, answered_at=at(31))
    map_all(used="5200")
    remake_batch(number=1, by=world.actor, made_at=at(32))
    map_all()
    batch(world)
    total = dict(JournalLine.objects.order_by().values_list("account").annotate(Sum("amount")))
    assert {account: amount for account, amount in total.items() if amount} == {
        STOCK: 3,
        PAYABLE: -10,
        USED: 7,
    }


def make_jobs(names: str) -> list[Place]:
    return [Place.objects.create(code=f"job:{name}", name=name, kind="job") for name in names]


def test_no_line_brings_a_coin_to_a_job_that_no_entry_touched(world: World) -> None:
    """Each piece is a third of a cent, so every batch has coins to give to somebody."""
    jobs = make_jobs("ABCDE")
    for number in range(30):
        job = jobs[number % 2 if number > 9 else number % 5]
        draw_to(world, job, 1 + number / 10)
        try:
            made = batch(world)
        except NothingToExport:
            continue
        touched = {name for name, value in sum_since(made).items() if value}
        lines = {(line.account, line.job_place_id) for line in made.lines.all()}
        assert lines <= touched
        strays = [
            abs(line.rounded_balance * 10_000 - line.exact_balance) for line in JournalLine.objects.all()
        ]
        assert max(strays) < 10_000
    total = dict(JournalLine.objects.order_by().values_list("account").annotate(Sum("amount")))
    assert total == {STOCK: 0, PAYABLE: -10, USED: 10}


def draw_to(world: World, place: Place, hours: float, pieces: int = 1) -> None:
    line = Line(world.projectile, each(pieces), End(world.warehouse), End(place))
    draw(id=uuid4(), by=world.actor, occurred_at=at(hours), lines=[line])


def sum_since(made: JournalBatch) -> dict[tuple[str, int | None], int]:
    """What entries did to each account since its line before."""
    sums = dict(sum_accounts(booked_until=made.booked_until, last_sequence=made.last_sequence))
    rows = JournalLine.objects.filter(batch__number__lt=made.number).order_by("batch__number")
    before = {
        (account, job): balance
        for account, job, balance in rows.values_list("account", "job_place", "exact_balance")
    }
    return {name: sums.get(name, 0) - before.get(name, 0) for name in {*sums, *before}}


def test_no_batch_is_made_while_an_earlier_one_is_rejected(world: World) -> None:
    batch(world)
    use(world, 10, 1)
    batch(world)
    answer_batch(number=1, is_accepted=False, answered_at=at(31), answer="1400 is closed")
    use(world, 10, 2)
    with pytest.raises(BatchWasRejected, match="Batch 1"):
        batch(world)
    map_all(stock="1500")
    remake_batch(number=1, by=world.actor, made_at=at(32))
    assert batch(world).number == 3


def test_stock_accounts_tie_to_the_roll_forward_and_what_is_not_exported(world: World) -> None:
    batch(world)
    use(world, 12, 1)
    revalue(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(2),
        changes=[Revaluation(world.projectile, world.warehouse, 5_000_000)],
        against=world.supplier,
        reason="late freight",
        is_agreed=True,
    )
    closing = sum(row.closing.value for row in roll_forward(first_date=None, last_date=DAY))
    made = batch(world)
    exported = JournalLine.objects.filter(account=STOCK).aggregate(total=Sum("amount"))["total"]
    assert closing == made.lines.get(account=STOCK).exact_balance
    assert abs(exported * 10_000 - closing) < 10_000


def test_set_accounts_names_every_fault_and_keeps_the_old_mapping(world: World) -> None:
    before = list(AccountRule.objects.values_list("place_kind", "account"))
    with pytest.raises(BadInput, match="is no kind of place") as refusal:
        set_accounts(
            settings=[
                AccountSetting("shelf", "1"),
                AccountSetting("bin", ""),
                AccountSetting("bin", "2"),
                AccountSetting("job", "3", "candy"),
            ]
        )
    assert len(refusal.value.faults) == 4
    assert list(AccountRule.objects.values_list("place_kind", "account")) == before
