"""Setting what is aimed at for a material in a place."""

from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Material, Place, StockPolicy

Target = StockPolicy.Target


@dataclass(frozen=True)
class PolicyFields:
    """What a policy says; None or '' leaves a thing to the next nearest policy. Amounts in millionths."""

    target: str = ""
    target_share: float | None = None
    shortage_cost_per_day: int | None = None
    holding_cost_rate: float | None = None
    review_days: int | None = None
    forecast_method: str = ""
    return_lag_days: float | None = None
    return_lag_sd_days: float | None = None
    storage_limit: int | None = None
    minimum_level: int | None = None
    maximum_level: int | None = None


def set_stock_policy(
    *,
    by: Actor,
    occurred_at: datetime,
    fields: PolicyFields,
    place: Place | None = None,
    material: Material | None = None,
) -> StockPolicy:
    """Put this policy in the place of the one that stood for the same material and place.

    Raises
    ------
    BadInput
        If a field is out of range or does not go with the others; nothing is changed.
    """
    faults = [
        *_faults_of_target(fields),
        *_faults_of_numbers(fields),
        *_faults_of_place(fields, place, material),
    ]
    if faults:
        raise BadInput.of(faults)
    policy, _is_new = StockPolicy.objects.update_or_create(
        key=f"{place.pk if place else 0}:{material.pk if material else 0}",
        defaults={
            "place": place,
            "material": material,
            "set_by": by,
            "set_at": occurred_at,
            **vars(fields),
        },
    )
    return policy


def drop_stock_policy(*, place: Place | None = None, material: Material | None = None) -> bool:
    """Let the next nearest policy hold again; tell whether one stood."""
    key = f"{place.pk if place else 0}:{material.pk if material else 0}"
    return bool(StockPolicy.objects.filter(key=key).delete()[0])


def _faults_of_target(fields: PolicyFields) -> list[Fault]:
    if fields.target and fields.target not in Target.values:
        return [Fault("/target", fields.target[:40], f"must be one of {', '.join(Target.values)}")]
    faults = []
    is_share = fields.target in {Target.CYCLE_SERVICE, Target.FILL_RATE}
    share = fields.target_share
    if is_share and (share is None or not 0.5 <= share < 1):
        shown = "" if share is None else f"{share:g}"
        message = "must be at least 0.5 and below 1: nothing is certain"
        faults.append(Fault("/target_share", shown, message))
    if not is_share and share is not None:
        faults.append(Fault("/target_share", f"{share:g}", "goes only with cycle_service or fill_rate"))
    if fields.target == Target.COST and not fields.shortage_cost_per_day:
        faults.append(
            Fault("/shortage_cost_per_day", "", "must be given: least cost weighs lacking against holding")
        )
    methods = StockPolicy.Forecast.values
    if fields.forecast_method and fields.forecast_method not in methods:
        faults.append(
            Fault("/forecast_method", fields.forecast_method[:40], f"must be one of {', '.join(methods)}")
        )
    return faults


def _faults_of_numbers(fields: PolicyFields) -> list[Fault]:
    faults = []
    for name, least in (
        ("holding_cost_rate", 1e-9),
        ("shortage_cost_per_day", 1),
        ("review_days", 0),
        ("return_lag_days", 0),
        ("return_lag_sd_days", 0),
        ("storage_limit", 1),
        ("minimum_level", 0),
    ):
        value = getattr(fields, name)
        if value is not None and (not isfinite(value) or value < least):
            wanted = "0 or more" if not least else "above 0"
            faults.append(Fault(f"/{name}", f"{value:g}", f"must be {wanted}"))
    if fields.review_days is not None and fields.review_days > 365:
        faults.append(Fault("/review_days", str(fields.review_days), "must be at most 365"))
    return faults


def _faults_of_place(fields: PolicyFields, place: Place | None, material: Material | None) -> list[Fault]:
    faults = []
    if place is not None and place.kind not in {Place.Kind.WAREHOUSE, Place.Kind.VEHICLE}:
        faults.append(Fault("/place", place.code, "must be a warehouse or a vehicle"))
    low, high = fields.minimum_level, fields.maximum_level
    if (low is None) != (high is None):
        faults.append(Fault("/maximum_level", "", "minimum and maximum are given together"))
    elif low is not None and high is not None and high <= low:
        faults.append(Fault("/maximum_level", str(high / 10**6), "must be above the minimum"))
    amounts = (fields.storage_limit, low, high)
    if material is None and any(amount is not None for amount in amounts):
        faults.append(Fault("/material", "", "must be given with amounts, which are in its unit"))
    return faults
