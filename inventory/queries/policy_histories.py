"""What the company used week by week, with the terms under which each material is ordered."""

from dataclasses import dataclass, fields
from datetime import date

import numpy as np
import numpy.typing as npt

from inventory.models import Place
from inventory.queries.order_terms import (
    DAYS_A_WEEK,
    OrderTerms,
    gather_order_terms,
    prefer_terms,
    unit_cost_of,
)
from inventory.queries.restock_facts import Floats, Scope, load_facts
from inventory.queries.restock_plans import find_lead_days, find_minimums, find_targets
from inventory.queries.stock_policies import load_aims
from inventory.queries.supply_areas import MaterialRange, find_recovered_forms, find_supply_areas
from inventory.units import MILLION


@dataclass(frozen=True)
class PolicyHistories:
    """By row, of our own materials that were ever used: use by week, and how it is ordered today.

    `keys` are warehouse, material and owner, shape (n, 3). used is of shape (n, weeks) in stock units, NaN
    before the first use, and so is `pool`, from which all learn. `targets` and `methods` are as the policies
    name them, minimum and maximum set by hand, 0 and NaN where none is. Unit and shortage costs (for a day)
    in the currency.
    """

    keys: npt.NDArray[np.int_]
    preferred: npt.NDArray[np.object_]
    targets: npt.NDArray[np.object_]
    methods: npt.NDArray[np.object_]
    minimum: Floats
    maximum: Floats
    shortage_costs: Floats
    used: Floats
    lead_days: Floats
    lead_sd_days: Floats
    review_days: Floats
    share: Floats
    is_fill_rate: npt.NDArray[np.bool_]
    is_whole: npt.NDArray[np.bool_]
    unit_costs: Floats
    order_terms: OrderTerms
    pool: Floats

    @property
    def span_weeks(self) -> npt.NDArray[np.int_]:
        """Lead time and review period in whole weeks, one at least."""
        return np.maximum(np.rint((self.lead_days + self.review_days) / DAYS_A_WEEK), 1).astype(int)

    @property
    def weights(self) -> Floats:
        """Gallons and pieces do not add up: a unit counts for what it costs, or for one without a price."""
        return np.where(self.unit_costs > 0, self.unit_costs, 1.0)

    def sizes(self, rates_per_week: Floats) -> Floats:
        """Order quantities for these rates."""
        return self.order_terms.sizes(rates_per_week / DAYS_A_WEEK, self.review_days)


def load_policy_histories(
    *,
    before: date,
    service: float,
    place: Place | None = None,
    materials: tuple[int, int] | None = None,
    pool: Floats | None = None,
) -> PolicyHistories:
    """Read use of the two years before a day; where no policy sets a target, `service` is aimed at.

    `pool` is that of other histories before the same day, so that it need not be read again.
    """
    forms = find_recovered_forms()
    chosen = MaterialRange.of(*materials, forms) if materials else None
    aims = load_aims(service=service)
    facts = load_facts(Scope(find_supply_areas(place), before, 1, aims, forms, chosen), pool)
    preferred = prefer_terms(facts)
    lead, lead_sd = find_lead_days(preferred)
    share, is_fill_rate = find_targets(facts, preferred)
    costs = [
        unit_cost_of(facts.materials[key[1]], terms) / MILLION
        for key, terms in zip(facts.keys, preferred, strict=True)
    ]
    rows = np.flatnonzero(facts.is_ours & (np.nan_to_num(facts.history) > 0).any(axis=1))
    review = np.array([aim.review_days for aim in facts.aims], dtype=np.float64)
    whole = PolicyHistories(
        keys=np.array(facts.keys, dtype=int).reshape(-1, 3),
        preferred=np.array([*preferred, None], dtype=object)[:-1],
        targets=np.array([aim.target for aim in facts.aims], dtype=object),
        methods=np.array([aim.forecast_method for aim in facts.aims], dtype=object),
        minimum=find_minimums(facts.aims),
        maximum=np.array(
            [np.nan if aim.maximum_level is None else aim.maximum_level / MILLION for aim in facts.aims],
            dtype=np.float64,
        ),
        shortage_costs=np.array(
            [(aim.shortage_cost_per_day or 0) / MILLION for aim in facts.aims], dtype=np.float64
        ),
        used=facts.history,
        lead_days=lead,
        lead_sd_days=lead_sd,
        review_days=review,
        share=share,
        is_fill_rate=is_fill_rate,
        is_whole=facts.is_whole,
        unit_costs=np.array(costs, dtype=np.float64),
        order_terms=gather_order_terms(facts, preferred),
        pool=facts.pool,
    )
    return choose_rows(whole, rows)


def choose_rows(histories: PolicyHistories, rows: npt.NDArray[np.int_]) -> PolicyHistories:
    """Some of the rows."""
    parts = {
        field.name: getattr(histories, field.name)[rows]
        for field in fields(PolicyHistories)
        if field.name not in {"order_terms", "pool"}
    }
    return PolicyHistories(**parts, order_terms=histories.order_terms.of(rows), pool=histories.pool)
