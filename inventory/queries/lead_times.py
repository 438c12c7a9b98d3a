"""How long suppliers take, learnt from what they have delivered."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from inventory.calc.lead_times import LearntLeadTime, learn_lead_time
from inventory.models import OrderLine, ReceivedLine, SupplyTerms
from inventory.queries.order_progress import find_progress

# Suppliers change; what was delivered before the last of these teaches nothing any longer.
MOST_DELIVERIES = 20
# Where a supplier states no spread: a quarter of its lead time, half a day at least (an estimate, no source).
UNSTATED_SPREAD = 0.25
LEAST_SPREAD_DAYS = 0.5
SECONDS_PER_DAY = 86_400
# What nobody states a lead time for is taken to come in a fortnight, give or take five days (an estimate, no
# source).
UNKNOWN_LEAD_TIME = LearntLeadTime(mean_days=14.0, sd_days=5.0, deliveries=0)


@dataclass(frozen=True)
class Delivery:
    """An order line that is all in: sent, the last part come and recorded, days from sending to receipt."""

    sent_at: datetime
    came_at: datetime
    recorded_at: datetime
    days: float


def find_lead_times(terms: Collection[SupplyTerms]) -> dict[int, LearntLeadTime]:
    """Return the lead time of each of these terms, by their key, from its last deliveries.

    An order line counts once nothing of it is awaited: the parts that it came in count by their quantity.
    What was held back is not among them. The number of queries does not grow with the terms.
    """
    observed = find_deliveries(terms)
    return {row.pk: learn_from(row, observed.get((row.material_id, row.supplier_id), ())) for row in terms}


def learn_from(terms: SupplyTerms, deliveries: Sequence[Delivery]) -> LearntLeadTime:
    """The lead time of terms as they were stated, from deliveries, the oldest order first."""
    observed = [delivery.days for delivery in deliveries]
    spread = terms.lead_time_sd_days or prior_spread(terms.lead_time_days)
    if not observed:
        return LearntLeadTime(terms.lead_time_days, spread, 0)
    return learn_lead_time(
        prior_mean_days=terms.lead_time_days,
        prior_sd_days=spread,
        observed_days=observed[-MOST_DELIVERIES:],
    )


def prior_spread(lead_time_days: float) -> float:
    """The spread taken for a lead time of which none is stated."""
    return max(LEAST_SPREAD_DAYS, UNSTATED_SPREAD * lead_time_days)


def find_deliveries(terms: Collection[SupplyTerms]) -> dict[tuple[int, int], list[Delivery]]:
    """What came of orders under these terms, by material and supplier, the oldest order first."""
    rows = list(
        ReceivedLine.objects.filter(
            finding=ReceivedLine.Finding.SOUND,
            receipt__entry__reversed_by__isnull=True,
            order_line__material__in={row.material_id for row in terms},
            order_line__order__supplier__in={row.supplier_id for row in terms},
            order_line__order__sent_at__isnull=False,
        )
        .select_related("order_line__order", "receipt__entry")
        .order_by("order_line__order__sent_at", "pk")
    )
    parts: dict[OrderLine, list[tuple[int, float]]] = defaultdict(list)
    known: dict[OrderLine, tuple[datetime, datetime]] = {}
    for row in rows:
        assert row.order_line is not None
        assert row.order_line.order.sent_at is not None
        taken = row.receipt.occurred_at - row.order_line.order.sent_at
        parts[row.order_line].append((row.quantity, max(0.0, taken.total_seconds() / SECONDS_PER_DAY)))
        moments = row.receipt.occurred_at, row.receipt.entry.recorded_at
        before = known.get(row.order_line, moments)
        known[row.order_line] = max(before[0], moments[0]), max(before[1], moments[1])
    progress = find_progress(list(parts))
    observed: dict[tuple[int, int], list[Delivery]] = defaultdict(list)
    for line, came in parts.items():
        if progress[line.pk].is_done:
            whole = sum(quantity for quantity, _days in came)
            days = sum(quantity * days for quantity, days in came) / whole
            assert line.order.sent_at is not None
            delivery = Delivery(line.order.sent_at, *known[line], days)
            observed[line.material_id, line.order.supplier_id].append(delivery)
    return observed
