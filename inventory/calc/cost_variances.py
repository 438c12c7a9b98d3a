"""Why actual cost differs from standard, and what a holding may be carried at."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from inventory.calc.exact_numbers import Exact, as_exact_not_negative


@dataclass(frozen=True)
class CostVariance:
    """Price and quantity variance, positive where unfavourable; None where its pair was left out."""

    price_variance: Fraction | None
    quantity_variance: Fraction | None
    total: Fraction


def cost_variance(
    *,
    standard_price: Exact,
    actual_price: Exact | None = None,
    actual_quantity_bought: Exact | None = None,
    standard_quantity: Exact | None = None,
    actual_quantity_used: Exact | None = None,
) -> CostVariance:
    """Price variance (AP - SP) AQ bought and quantity variance (AQ used - SQ) SP.

    Parameters
    ----------
    standard_price, actual_price : number
        SP and AP, >= 0 [money per unit]
    actual_quantity_bought, standard_quantity, actual_quantity_used : number
        AQ bought, SQ and AQ used, >= 0 [unit of the material]. actual_price and actual_quantity_bought, or
        standard_quantity and actual_quantity_used, may be left out as a pair.

    Returns
    -------
    CostVariance
        price_variance, quantity_variance and total of those there are, positive = unfavourable [money]

    Raises
    ------
    ValueError
        If a parameter is out of range, half of a pair is missing or both pairs are.

    References
    ----------
    .. [1] Franklin, M., Graybeal, P. & Cooper, D. (2019), Principles of Accounting, Volume 2: Managerial
       Accounting, OpenStax, section 8.2.
    """
    standard = as_exact_not_negative("standard_price", standard_price)
    price = _pair("actual_price", actual_price, "actual_quantity_bought", actual_quantity_bought)
    usage = _pair("standard_quantity", standard_quantity, "actual_quantity_used", actual_quantity_used)
    if price is None and usage is None:
        raise ValueError("actual_price and actual_quantity_bought must be given, or the quantities used")
    price_variance = None if price is None else (price[0] - standard) * price[1]
    quantity_variance = None if usage is None else (usage[1] - usage[0]) * standard
    total = (price_variance or Fraction(0)) + (quantity_variance or Fraction(0))
    return CostVariance(price_variance, quantity_variance, total)


def _pair(
    first_name: str, first: Exact | None, second_name: str, second: Exact | None
) -> tuple[Fraction, Fraction] | None:
    if first is None and second is None:
        return None
    if first is None or second is None:
        missing, given = (first_name, second_name) if first is None else (second_name, first_name)
        raise ValueError(f"{missing} must be given where {given} is")
    return as_exact_not_negative(first_name, first), as_exact_not_negative(second_name, second)


@dataclass(frozen=True)
class CarryingStep:
    """One period's end: what the goods are carried at and how that moved."""

    carrying_value: Fraction
    write_down: Fraction
    reversal: Fraction


def carrying_steps(*, cost: Exact, net_realisable_values: Sequence[Exact]) -> list[CarryingStep]:
    """Carrying value at each period's end, the lower of cost and net realisable value as it is then.

    Parameters
    ----------
    cost : number
        Cost of the goods, >= 0 [money]
    net_realisable_values : sequence of number
        Selling price less costs to sell at each period's end, >= 0, shape (n,) [money]

    Returns
    -------
    list of CarryingStep
        Carrying value, write-down and reversal of the period [money]; no reversal goes above cost

    Raises
    ------
    ValueError
        If a value is negative.

    References
    ----------
    .. [1] IAS 2 Inventories, paragraphs 9, 28-33 (lower of cost and net realisable value, assessed anew each
       period; a reversal is limited to the original write-down).
    """
    original = carried = as_exact_not_negative("cost", cost)
    steps = []
    for number, value in enumerate(net_realisable_values):
        worth = min(original, as_exact_not_negative(f"net_realisable_values[{number}]", value))
        change = worth - carried
        steps.append(CarryingStep(worth, max(-change, Fraction(0)), max(change, Fraction(0))))
        carried = worth
    return steps
