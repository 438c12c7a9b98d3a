"""What every account is worth: the book's value, by the account its place and goods belong to."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Sum

from inventory.errors import SpanstockError
from inventory.models import AccountRule, JournalLine, Material, Movement, Place
from inventory.queries.stock_accounts import roll_forward

# An account and the job that its goods are charged to, where they are.
Name = tuple[str, int | None]
# A place and the kind of goods there.
Heap = tuple[int, str]


class AccountMissing(SpanstockError):
    """Value lies at a kind of place that no account is set for: lines out of it would not balance."""

    code = "account_missing"


def sum_accounts(*, booked_until: date, last_sequence: int) -> dict[Name, int]:
    """Balance of each account, in millionths of the currency, debit above zero; together they are zero.

    Over all entries sealed up to `last_sequence` that are booked up to a day.

    Raises
    ------
    AccountMissing
        If value lies where no account is set for.
    """
    return _by_account(_sum_places(booked_until, entry__seal__sequence__lte=last_sequence))


def _sum_places(booked_until: date, **also: Any) -> dict[Heap, int]:
    """Value of each kind of goods at each place, over entries booked up to a day."""
    sums: dict[Heap, int] = defaultdict(int)
    counted = Movement.objects.filter(entry__booked_date__lte=booked_until, **also).exclude(value=0)
    for sign, end in ((1, "target_place"), (-1, "source_place")):
        rows = counted.order_by().values_list(end, "material__kind")
        for place, kind, value in rows.annotate(Sum("value")):
            sums[place, kind] += sign * int(value)
    return {key: value for key, value in sums.items() if value}


@dataclass(frozen=True)
class AccountTie:
    """One account: what the book says, what went out for it, and so what is still to go out.

    Balances in millionths of the currency; `exported` in whole coins. `in_stock` is what of the balance lies
    in stock, `not_sealed` what of it stands in entries that are not sealed yet; the next batch seals them.
    """

    account: str
    balance: int
    in_stock: int
    not_sealed: int
    exported: int


@dataclass(frozen=True)
class StockTie:
    """All accounts, and what the roll-forward closes with: the stock of the accounts is together the same."""

    accounts: list[AccountTie]
    closing: int

    @property
    def in_stock(self) -> int:
        return sum(tie.in_stock for tie in self.accounts)


def tie_accounts(*, booked_until: date) -> StockTie:
    """Every account with its balance in the book up to a day, beside what batches up to that day brought."""
    whole = _sum_places(booked_until)
    stock = Place.objects.filter(kind__in=Place.STOCK_KINDS, pk__in={place for place, _kind in whole})
    is_stock = set(stock.values_list("pk", flat=True))
    balances = _sum_jobs(whole)
    in_stock = _sum_jobs({key: value for key, value in whole.items() if key[0] in is_stock})
    not_sealed = _sum_jobs(_sum_places(booked_until, entry__unsealed__isnull=False))
    lines = JournalLine.objects.filter(batch__booked_until__lte=booked_until).order_by()
    exported = {
        account: int(amount) for account, amount in lines.values_list("account").annotate(Sum("amount"))
    }
    ties = [
        AccountTie(
            account=account,
            balance=balances.get(account, 0),
            in_stock=in_stock.get(account, 0),
            not_sealed=not_sealed.get(account, 0),
            exported=exported.get(account, 0),
        )
        for account in sorted({*balances, *exported, *not_sealed})
    ]
    rolled = roll_forward(first_date=None, last_date=booked_until)
    return StockTie(ties, sum(row.closing.value for row in rolled))


def _sum_jobs(sums: dict[Heap, int]) -> dict[str, int]:
    """By account, whatever the job."""
    found: dict[str, int] = defaultdict(int)
    for (account, _job), value in _by_account(sums).items():
        found[account] += value
    return found


def _by_account(sums: dict[Heap, int]) -> dict[Name, int]:
    places = Place.objects.select_related("parent__parent").in_bulk({place for place, _kind in sums})
    rules = {
        (rule.place_kind, rule.material_kind): rule.account for rule in AccountRule.objects.order_by("pk")
    }
    refuse_missing_accounts({(places[place].kind, kind) for place, kind in sums}, rules)
    found: dict[Name, int] = defaultdict(int)
    for (place_id, kind), value in sums.items():
        place = places[place_id]
        account = rules.get((place.kind, kind)) or rules[place.kind, ""]
        found[account, _job_of(place)] += value
    return dict(found)


def refuse_missing_accounts(wanted: Iterable[tuple[str, str]], rules: dict[tuple[str, str], str]) -> None:
    """Name every kind of place, with the kind of goods, that no rule gives an account."""
    missing = sorted(
        (place, kind) for place, kind in wanted if (place, kind) not in rules and (place, "") not in rules
    )
    if missing:
        shown = ", ".join(
            f"{Material.Kind(kind).label} at {Place.Kind(place).label}" for place, kind in missing
        )
        raise AccountMissing(f"No account is set for {shown}. Set one for each, so that the lines balance.")


def _job_of(place: Place) -> int | None:
    """The place of the job that goods here are charged to: spans lie in runs, runs in jobs."""
    if not place.is_use:
        return None
    for upper in (place, place.parent, place.parent and place.parent.parent):
        if upper is not None and upper.kind == Place.Kind.JOB:
            return upper.pk
    return place.pk
