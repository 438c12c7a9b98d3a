"""Why something is to be ordered, in one sentence with the numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from scipy import special

from inventory.models import Material, Party, Requirement, SupplyTerms
from inventory.queries.expected_receipts import ExpectedReceipt
from inventory.units import MILLION, format_millionths, unit_label


@dataclass(frozen=True)
class Limit:
    """The most that is to be ordered, in millionths: what is used in `life_days` of keeping, or has room."""

    most: int
    life_days: int | None = None


@dataclass(frozen=True)
class Reckoning:
    """The numbers behind a line, up to the last day that it is to cover. Amounts in millionths."""

    as_of: date
    until: date
    service: float
    on_hand: int
    planned: Sequence[Requirement]
    taken: float
    unscheduled: float
    rate_per_week: float
    comes_back: float
    spread: float
    expected: Sequence[ExpectedReceipt]
    minimum: int | None
    quantity: int
    limit: Limit | None = None


def explain(
    reckoning: Reckoning, material: Material, owner: Party, terms: SupplyTerms | None, days: int
) -> str:
    """Say what is there and coming, what takes it, and what is kept for bad days; then who can bring more."""
    unit = material.stock_unit
    parts = [f"{show(reckoning.on_hand, unit)} on hand{_coming(reckoning, unit)}; {_takes(reckoning, unit)}"]
    spare = _spare(reckoning, unit)
    if spare:
        parts.append(spare)
    if reckoning.minimum:
        parts.append(f"and no less than {show(reckoning.minimum, unit)} is to be kept")
    limit = f" {_limited(reckoning.limit, reckoning.quantity, unit)}" if reckoning.limit else ""
    return f"{', '.join(parts)}. {_source(owner, terms, days)}{limit}"


def show(amount: float, unit: str) -> str:
    """Write an amount for a sentence: to a hundredth at the finest, pieces without their unit."""
    rounded = format_millionths(round(amount / 10_000) * 10_000, unit)
    return rounded.removesuffix(f" {unit_label('1')}") if unit == "1" else rounded


def show_about(amount: float, unit: str) -> str:
    """Write what is foreseen: to three digits, since nobody knows the days ahead to the inch."""
    return show(float(f"{amount:.3g}"), unit)


def _coming(reckoning: Reckoning, unit: str) -> str:
    """What is awaited: what has a day ahead, then what is overdue, then what nobody knows a day of."""
    known = [receipt for receipt in reckoning.expected if receipt.planned_date is not None]
    late = [receipt for receipt in known if receipt.is_late]
    due = [receipt for receipt in known if receipt not in late and receipt.due_date <= reckoning.until]
    undated = [receipt for receipt in reckoning.expected if receipt.planned_date is None]
    return "".join(
        (
            _awaited(due, unit, "on order for {day:%d %b} ({references})"),
            _awaited(late, unit, "overdue since {day:%d %b} ({references})"),
            _awaited(undated, unit, "ordered, no delivery date known ({references})"),
        )
    )


def _awaited(receipts: Sequence[ExpectedReceipt], unit: str, words: str) -> str:
    if not receipts:
        return ""
    first = min(receipts, key=lambda receipt: receipt.planned_date or receipt.due_date)
    others = len({receipt.reference for receipt in receipts} - {first.reference})
    references = first.reference + (f" and {others} more" if others else "")
    total = show(sum(receipt.quantity for receipt in receipts), unit)
    return f" and {total} {words.format(day=first.planned_date, references=references)}"


def _takes(reckoning: Reckoning, unit: str) -> str:
    uses = len({row.reference for row in reckoning.planned if row.needed_date <= reckoning.until})
    back = (
        f", {show(reckoning.comes_back, unit)} of it back in time to serve again"
        if reckoning.comes_back
        else ""
    )
    foreseen = _is_worth_telling(reckoning.unscheduled, unit)
    usual = (
        f"{show_about(reckoning.unscheduled, unit)} at the usual "
        f"{show_about(reckoning.rate_per_week, unit)} a week"
        if foreseen
        else ""
    )
    if not uses:
        return f"use not yet planned takes {usual or 'nothing'} until {reckoning.until:%d %b}"
    besides = f"; use not yet planned takes {usual}" if foreseen else ""
    return (
        f"{'1 planned use' if uses == 1 else f'{uses} planned uses'} until {reckoning.until:%d %b}"
        f"{_not_settled(reckoning)} "
        f"{'takes' if uses == 1 else 'take'} {show(reckoning.taken, unit)}{back}{besides}"
    )


def _not_settled(reckoning: Reckoning) -> str:
    past = [row for row in reckoning.planned if row.needed_date < reckoning.as_of]
    if not past:
        return ""
    count = len({row.reference for row in past})
    which = "1 of them was due" if count == 1 else f"{count} of them were due, the first"
    return f" ({which} on {min(row.needed_date for row in past):%d %b} and not settled)"


def _is_worth_telling(amount: float, unit: str) -> bool:
    return amount >= (MILLION / 10 if unit == "1" else MILLION / 100)


def _spare(reckoning: Reckoning, unit: str) -> str:
    margin = max(0.0, float(special.ndtri(reckoning.service))) * reckoning.spread
    # Half a piece is no margin: whoever keeps one for bad days keeps it whole.
    margin = ceil(round(margin / MILLION, 9)) * MILLION if unit == "1" else margin
    return f"and {show_about(margin, unit)} should be left for days that take more" if round(margin) else ""


def _limited(limit: Limit, quantity: int, unit: str) -> str:
    # The least that is sold may be more than there is use or room for; whoever orders is to know.
    end = "so more is not ordered" if quantity <= limit.most else "but no less is sold"
    if limit.life_days is None:
        return f"There is room for {show(limit.most, unit)} when it comes, {end}."
    used = show_about(limit.most, unit) if limit.most else "nothing"
    return f"It keeps {limit.life_days} days, in which {used} of it will be used, {end}."


def _source(owner: Party, terms: SupplyTerms | None, days: int) -> str:
    if not owner.is_company:
        return f"Furnished by {owner.name}: ask them for it."
    if terms is None:
        return "No supplier's terms are known for it."
    return f"{terms.supplier.name} needs up to {days} {'day' if days == 1 else 'days'}."
