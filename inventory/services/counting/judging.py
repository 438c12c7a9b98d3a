"""Whether a line of a count sheet needs another count, by another person."""

from collections.abc import Sequence

from inventory.models import CountSheetLine, LineCount
from inventory.money import value_of
from inventory.units import MILLION

# Two measured amounts differ by chance within so many standard uncertainties, at about 95 %.
COVERAGE = 2.0


def is_near(
    line: CountSheetLine, first: int, second: int, *, unit_cost: int, standard_uncertainty: float = 0.0
) -> bool:
    """Whether two amounts are within the limits: the share, the value, or what measuring cannot tell."""
    difference = abs(first - second)
    if difference * MILLION <= line.limit_share * abs(second):
        return True
    if unit_cost > 0 and value_of(quantity=difference, unit_cost=unit_cost) <= line.limit_value:
        return True
    return difference <= COVERAGE * standard_uncertainty


def find_accepted(line: CountSheetLine, counts: Sequence[LineCount], *, unit_cost: int) -> LineCount | None:
    """Return the count that stands, None where another is needed.

    The last one stands where it agrees with the book or with what another person found.
    """
    if not counts:
        return None
    last = counts[-1]
    if is_near(
        line,
        last.quantity,
        last.book_quantity,
        unit_cost=unit_cost,
        standard_uncertainty=last.standard_uncertainty,
    ):
        return last
    for earlier in counts[:-1]:
        # What moved between the two counts is taken out by the book of either moment.
        moved = last.book_quantity - earlier.book_quantity
        spread = (last.standard_uncertainty**2 + earlier.standard_uncertainty**2) ** 0.5
        is_another = earlier.by_id != last.by_id
        if is_another and is_near(
            line,
            earlier.quantity + moved,
            last.quantity,
            unit_cost=unit_cost,
            standard_uncertainty=spread,
        ):
            return last
    return None


def is_beyond_limits(line: CountSheetLine, accepted: LineCount, *, unit_cost: int) -> bool:
    """Whether what was found differs from the book by more than the limits: then it wants a reason."""
    return not is_near(
        line,
        accepted.quantity,
        accepted.book_quantity,
        unit_cost=unit_cost,
        standard_uncertainty=accepted.standard_uncertainty,
    )
