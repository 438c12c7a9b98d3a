"""What of an order has come, and what is still awaited: worked out from the lines received."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Sum

from inventory.models import HeldOutcome, OrderLine, ReceivedLine


@dataclass(frozen=True)
class LineProgress:
    """Of one order line, in millionths of the stock unit: what came and counts, and what is awaited."""

    received: int
    awaited: int

    @property
    def is_done(self) -> bool:
        return self.awaited == 0


def find_progress(lines: Collection[OrderLine]) -> dict[int, LineProgress]:
    """Return by order line what came of it; receipts and outcomes that were undone count no more.

    What is held back does not count: the line is awaited as if nothing had come.
    """
    ids = [line.pk for line in lines]
    sound = (
        ReceivedLine.objects.filter(
            order_line__in=ids,
            finding=ReceivedLine.Finding.SOUND,
            receipt__entry__reversed_by__isnull=True,
        )
        .order_by()
        .values_list("order_line")
        .annotate(total=Sum("quantity"))
    )
    received: dict[int, int] = dict(sound)
    kept = (
        HeldOutcome.objects.filter(order_line__in=ids, entry__reversed_by__isnull=True)
        .order_by()
        .values_list("order_line")
        .annotate(total=Sum("quantity"))
    )
    for key, total in kept:
        received[key] = received.get(key, 0) + total
    return {
        line.pk: LineProgress(
            received=received.get(line.pk, 0),
            awaited=max(0, line.quantity - line.called_off_quantity - received.get(line.pk, 0)),
        )
        for line in lines
    }
