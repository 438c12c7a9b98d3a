"""How long orders took by the day on which they went out, and what of that was known week by week."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from math import ceil
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from inventory.models import SupplyTerms
from inventory.queries.company import get_company
from inventory.queries.lead_times import Delivery, find_deliveries, learn_from
from inventory.queries.restock_facts import Floats
from inventory.queries.restock_plans import find_lead_days


@dataclass
class ReplayedDeliveries:
    """For rows under these terms: what their suppliers stated and what they really took.

    An order of the replay takes as long as the real one that was sent last before it, or where there was none
    the first after it; where there is none at all, as long as is stated. A delivery is known once it was
    recorded; one that was recorded only after the last day, when it came.
    """

    terms: Sequence[SupplyTerms | None]
    first: date
    last: date
    _zone: ZoneInfo = field(init=False)
    _by_row: list[list[Delivery]] = field(init=False)
    _stated: list[SupplyTerms | None] = field(init=False)
    _mean: Floats = field(init=False)
    _spread: Floats = field(init=False)

    def __post_init__(self) -> None:
        self._zone = ZoneInfo(get_company().time_zone)
        # The rows at hand may hold what deliveries have taught up to today.
        stated = SupplyTerms.objects.in_bulk([row.pk for row in self.terms if row is not None])
        self._stated = [None if row is None else stated[row.pk] for row in self.terms]
        found = find_deliveries(list(stated.values()))
        self._by_row = [
            [] if row is None else found.get((row.material_id, row.supplier_id), []) for row in self._stated
        ]
        self._mean, self._spread = find_lead_days(self._stated)

    @property
    def with_deliveries(self) -> int:
        """How many rows have had any."""
        return sum(1 for deliveries in self._by_row if deliveries)

    def days_taken(self, days: int) -> npt.NDArray[np.int_]:
        """Whole days that an order takes which goes out at the end of a day, shape (n, days)."""
        taken = np.zeros((len(self._by_row), days), dtype=int)
        for number, deliveries in enumerate(self._by_row):
            if not deliveries:
                taken[number] = ceil(self._mean[number])
                continue
            sent = np.array([self._day_of(delivery.sent_at) for delivery in deliveries])
            last = np.searchsorted(sent, np.arange(days), side="right") - 1
            waits = np.array([ceil(delivery.days) for delivery in deliveries])
            taken[number] = waits[np.maximum(last, 0)]
        return taken

    def known_before(self, day: date) -> tuple[Floats, Floats]:
        """Mean and spread of each row's lead time [d] as they were known on the morning of a day."""
        morning = self._morning_of(day)
        mean, spread = self._mean.copy(), self._spread.copy()
        for number, terms in enumerate(self._stated):
            known = [one for one in self._by_row[number] if self._known_at(one) < morning]
            if terms is not None and known:
                learnt = learn_from(terms, known)
                mean[number], spread[number] = learnt.mean_days, learnt.sd_days
        return mean, spread

    def _known_at(self, delivery: Delivery) -> datetime:
        is_later = delivery.recorded_at >= self._morning_of(self.last)
        return delivery.came_at if is_later else delivery.recorded_at

    def _morning_of(self, day: date) -> datetime:
        return datetime.combine(day, time.min, self._zone)

    def _day_of(self, moment: datetime) -> int:
        return (moment.astimezone(self._zone).date() - self.first) // timedelta(days=1)
