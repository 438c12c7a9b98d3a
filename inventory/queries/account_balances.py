"""What every account is worth: the book's value, by the account its place and goods belong to."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max, Q, Sum

from inventory.errors import SpanstockError
from inventory.models import AccountRule, JournalLine, Material, Movement, Place, Seal

# An account and the job that its goods are charged to, where they are.
Name = tuple[str, int | None]


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
    counted = Q(entry__booked_date__lte=booked_until, entry__seal__sequence__lte=last_sequence)
    sums: dict[tuple[int, str], int] = defaultdict(int)
    for sign, end in ((1, "target_place"), (-1, "source_place")):
        rows = Movement.objects.filter(counted).exclude(value=0).order_by().values_list(end, "material__kind")
        for place, kind, value in rows.annotate(Sum("value")):
            sums[place, kind] += sign * int(value)
    return _by_account({key: value for key, value in sums.items() if value})


@dataclass(frozen=True)
class AccountTie:
    """One account: what the book says, what went out for it, and so what the next batch brings.

    Balances in millionths of the currency; `exported` in whole coins.
    """

    account: str
    balance: int
    exported: int


def tie_accounts(*, booked_until: date) -> list[AccountTie]:
    """Every account with its balance in the book up to a day, beside the lines that went out for it.

    Over what is sealed; the balances of stock accounts are together the closing value of the roll-forward.
    """
    last = Seal.objects.aggregate(last=Max("sequence"))["last"] or 0
    balances: dict[str, int] = defaultdict(int)
    for (account, _job), value in sum_accounts(booked_until=booked_until, last_sequence=last).items():
        balances[account] += value
    sums = JournalLine.objects.order_by().values_list("account").annotate(Sum("amount"))
    exported = {account: int(amount) for account, amount in sums}
    return [
        AccountTie(account, balances.get(account, 0), exported.get(account, 0))
        for account in sorted({*balances, *exported})
    ]


def _by_account(sums: dict[tuple[int, str], int]) -> dict[Name, int]:
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
