"""Which policy holds for a material in a place: the nearest one, what it leaves open taken from the next."""

from collections.abc import Iterable
from dataclasses import dataclass, fields

from django.db.models import QuerySet

from inventory.models import StockPolicy
from inventory.queries.access import Viewer, lies_within

USUAL_HOLDING_RATE = 0.2
USUAL_REVIEW_DAYS = 7
# What comes back in the evening is there for the next day's work.
USUAL_RETURN_LAG_DAYS = 1.0


@dataclass(frozen=True)
class Aim:
    """What is aimed at: amounts in millionths, `shortage_cost_per_day` of the currency per stock unit."""

    target: str
    target_share: float | None
    shortage_cost_per_day: int | None = None
    holding_cost_rate: float = USUAL_HOLDING_RATE
    review_days: int = USUAL_REVIEW_DAYS
    forecast_method: str = StockPolicy.Forecast.AUTO
    return_lag_days: float = USUAL_RETURN_LAG_DAYS
    return_lag_sd_days: float = 0.0
    is_lag_set: bool = False
    storage_limit: int | None = None
    minimum_level: int | None = None
    maximum_level: int | None = None


class Aims:
    """All policies, asked by place and material; read once."""

    def __init__(self, policies: Iterable[StockPolicy], *, service: float) -> None:
        self._policies = {(row.place_id, row.material_id): row for row in policies}
        self._service = service
        self._known: dict[tuple[int | None, int | None], Aim] = {}

    def of(self, place: int, material: int) -> Aim:
        """What is aimed at for a material in a place."""
        key = (
            place if (place, material) in self._policies or (place, None) in self._policies else None,
            material if (place, material) in self._policies or (None, material) in self._policies else None,
        )
        if key not in self._known:
            self._known[key] = self._merge(*key)
        return self._known[key]

    def holding_rate_said_of(self, place: int, material: int) -> float | None:
        """The holding cost rate that a policy of this very place says; None where none does."""
        for key in ((place, material), (place, None)):
            row = self._policies.get(key)
            if row is not None and row.holding_cost_rate is not None:
                return row.holding_cost_rate
        return None

    def set_by_hand(self) -> list[tuple[int, int]]:
        """Places and materials for which levels were set by hand."""
        return [
            (place, material)
            for (place, material), row in self._policies.items()
            if place is not None and material is not None and row.minimum_level is not None
        ]

    def _merge(self, place: int | None, material: int | None) -> Aim:
        found: dict[str, object] = {}
        for key in dict.fromkeys([(place, material), (None, material), (place, None), (None, None)]):
            row = self._policies.get(key)
            if row is None:
                continue
            if row.target and "target" not in found:
                found |= {"target": row.target, "target_share": row.target_share}
            for field in fields(Aim)[2:]:
                value = getattr(row, field.name, None)
                if value not in (None, "") and field.name not in found:
                    found[field.name] = value
        found.setdefault("target", StockPolicy.Target.CYCLE_SERVICE)
        found.setdefault("target_share", self._service)
        return Aim(**found, is_lag_set="return_lag_days" in found)  # type: ignore[arg-type]


def load_aims(*, service: float) -> Aims:
    """Read all policies; where none says otherwise `service` is the chance of not running short."""
    return Aims(StockPolicy.objects.all(), service=service)


def visible_stock_policies(viewer: Viewer) -> QuerySet[StockPolicy]:
    """Policies of the places the viewer sees into, and those that hold everywhere."""
    rows = StockPolicy.objects.select_related("place", "material", "set_by")
    return rows.filter(lies_within(viewer.places, "place")) | rows.filter(place__isnull=True)
