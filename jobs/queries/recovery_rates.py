"""How much comes back, group by group, with what somebody should look at."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from jobs.models import RecoveryDrift, RecoveryRate

Group = RecoveryRate.Group
# Below this share somebody should ask where the rest is (common practice, no source).
LEAST_RATIO = 0.5
LITTLE = "less than half of what was injected came back"
MUCH = "more came back than was injected, beyond what the readings scatter"


@dataclass(frozen=True)
class RatedGroup:
    """A recovery rate with its drifts that nobody has looked at, and a remark where it is out of bounds."""

    rate: RecoveryRate
    drifts: list[RecoveryDrift]

    @property
    def remark(self) -> str:
        """A sentence for a rate below half, or with an interval that lies above one; else empty."""
        if self.rate.ratio < LEAST_RATIO:
            return LITTLE
        return MUCH if self.rate.low is not None and self.rate.low > 1 else ""


def list_drifts() -> QuerySet[RecoveryDrift]:
    """Every drift that was found, looked at or not."""
    return RecoveryDrift.objects.select_related("crew", "cable_size", "fluid", "looked_by")


def rate_groups(rates: Iterable[RecoveryRate]) -> list[RatedGroup]:
    """Join rates with the drifts of their crew or size that stand open; one query."""
    standing: dict[tuple[str, str], list[RecoveryDrift]] = {}
    for drift in list_drifts().filter(looked_at__isnull=True):
        name = drift.crew.code if drift.crew is not None else str(drift.cable_size)
        standing.setdefault((drift.group, name), []).append(drift)
    return [RatedGroup(rate, standing.get((rate.group, rate.name), [])) for rate in rates]


def list_rates_by_size() -> list[RatedGroup]:
    """The rates of all cable sizes by outside diameter, and last that of all spans together."""
    rates = RecoveryRate.objects.filter(group__in=[Group.SIZE, Group.ALL])
    # A designation is a diameter; the group of all has no name.
    return sorted(rate_groups(rates), key=lambda row: float(row.rate.name or "inf"))
