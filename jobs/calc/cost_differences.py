"""Why a material cost a job more or less than was estimated: price, quantity and recovery."""

from dataclasses import dataclass
from fractions import Fraction

from inventory.calc.exact_numbers import Exact, as_exact, as_exact_not_negative


@dataclass(frozen=True)
class CostDifference:
    """Parts of actual less estimated cost, positive where unfavourable; they add up to it."""

    price: Fraction
    quantity: Fraction
    recovery: Fraction

    @property
    def total(self) -> Fraction:
        return self.price + self.quantity + self.recovery


def explain_cost(
    *,
    estimated_quantity: Exact,
    estimated_back: Exact,
    actual_quantity: Exact,
    actual_back: Exact,
    unit_cost: Exact,
    actual_cost: Exact,
    back_share: Exact = 1,
) -> CostDifference:
    """Split actual less estimated cost into price, quantity and recovery at the estimated price.

    With SP the price, D what was drawn, R what came back, s the share of its cost that what comes back
    brings, r = R_est / D_est: quantity = SP (D - D_est)(1 - s r); recovery = SP s (r D - R);
    price = actual cost - SP (D - s R). Where nothing was estimated r is 0.

    Parameters
    ----------
    estimated_quantity, estimated_back : number
        D_est and R_est, >= 0 [unit of the material]
    actual_quantity, actual_back : number
        D and R; corrections may take them below 0 [unit of the material]
    unit_cost : number
        SP, >= 0 [money per unit]
    actual_cost : number
        Net of what came back [money]
    back_share : number
        s, 0 to 1 [1]

    Returns
    -------
    CostDifference
        Price, quantity and recovery, exact [money]

    Raises
    ------
    ValueError
        If a parameter is out of range, or something is to come back of nothing.

    References
    ----------
    .. [1] Franklin, M., Graybeal, P. & Cooper, D. (2019), Principles of Accounting, Volume 2: Managerial
       Accounting, OpenStax, section 8.2 (price and quantity variance), with the quantity variance split
       into what went out and what came back.
    """
    drawn = as_exact_not_negative("estimated_quantity", estimated_quantity)
    back = as_exact_not_negative("estimated_back", estimated_back)
    price = as_exact_not_negative("unit_cost", unit_cost)
    share = as_exact_not_negative("back_share", back_share)
    if share > 1:
        raise ValueError(f"back_share must be 0 to 1, got {float(share):g}")
    actual, returned = as_exact("actual_quantity", actual_quantity), as_exact("actual_back", actual_back)
    if back and not drawn:
        raise ValueError(f"estimated_back must be 0 where nothing goes out, got {float(back):g}")
    ratio = back / drawn if drawn else Fraction(0)
    return CostDifference(
        price=as_exact("actual_cost", actual_cost) - price * (actual - share * returned),
        quantity=price * (actual - drawn) * (1 - share * ratio),
        recovery=price * share * (ratio * actual - returned),
    )
