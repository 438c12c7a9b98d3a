"""Setting what the company reckons with, and what it says of its kits."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Material
from inventory.services.sealing import record_event
from jobs.models import EstimatingPolicy, KitPolicy
from jobs.queries.company_settings import (
    Setting,
    Values,
    find_changes,
    get_estimating_values,
    get_kit_values,
)
from jobs.services.needs import write_needs_ahead

# Shares of passes that people write with a few decimals add up to one within this.
SUM_TOLERANCE = 1e-6


@dataclass(frozen=True)
class _Range:
    """What a setting may be, and how that is said."""

    holds: Callable[[Any], bool]
    message: str


_POSITIVE = _Range(lambda value: value > 0, "must be above nothing")
_NOT_NEGATIVE = _Range(lambda value: value >= 0, "must not be negative")
_ONE_OR_MORE = _Range(lambda value: value >= 1, "must be 1 or more")
_SHARE = _Range(lambda value: 0 <= value <= 1, "must lie between 0 and 1")
_SOME_SHARE = _Range(lambda value: 0 < value <= 1, "must be above 0, and 1 at most")
KIT_RANGES: dict[str, _Range] = {
    "seals_per_run": _NOT_NEGATIVE,
    "stub_m": _NOT_NEGATIVE,
    "hose_and_tank_l": _NOT_NEGATIVE,
    "lifting_limit_kg": _POSITIVE,
    "vessel_capacity_l": _POSITIVE,
    "useful_remnant_m": _NOT_NEGATIVE,
    "truck_reel_cost": _ONE_OR_MORE,
    "open_reel_cost": _ONE_OR_MORE,
    "sealed_reel_cost": _ONE_OR_MORE,
    "distant_reel_cost": _ONE_OR_MORE,
}
ESTIMATING_RANGES: dict[str, _Range] = {
    "injected_ratio_mean": _Range(lambda value: value >= 1, "must be 1 or more: a span takes its bore"),
    "injected_ratio_sd": _NOT_NEGATIVE,
    "caught_fraction_mean": _SHARE,
    "caught_fraction_sd": _NOT_NEGATIVE,
    "recovered_fraction_mean": _SHARE,
    "recovered_fraction_sd": _NOT_NEGATIVE,
    "reusable_fraction": _SHARE,
    "fit_again_fraction": _SHARE,
    "set_up_volume_l": _NOT_NEGATIVE,
    "quantile": _Range(
        lambda value: 0 < value < 1, "must lie above 0 and below 1: no kit is enough on all days"
    ),
    "sets_in_use": _ONE_OR_MORE,
    "fitting_loss_probability": _SHARE,
    "projectile_oversize": _NOT_NEGATIVE,
    "projectile_oversize_tolerance": _NOT_NEGATIVE,
    "tail_m": _NOT_NEGATIVE,
    "slack_m": _NOT_NEGATIVE,
    "fibre_allowance_fraction": _NOT_NEGATIVE,
    "largest_fill_ratio": _SOME_SHARE,
    "catch_fill_limit": _SOME_SHARE,
}


@transaction.atomic
def set_kit_policy(*, values: Mapping[str, Any], by: Actor, occurred_at: datetime) -> Values:
    """Put all settings of kits in the place of what stood; days ahead need what follows from them.

    `values` has every field of the policy; `tagged_materials` is a list of materials.
    """
    faults = _find_range_faults(values, KIT_RANGES, get_kit_values())
    faults += _find_material_faults(values["vessel_material"], values["tagged_materials"])
    if faults:
        raise BadInput.of(faults)
    changes = find_changes(get_kit_values(), values)
    if changes:
        own = {name: value for name, value in values.items() if name != "tagged_materials"}
        policy, _is_new = KitPolicy.objects.update_or_create(pk=1, defaults=own)
        policy.tagged_materials.set(values["tagged_materials"])
        _tell("kit_policy", changes, by, occurred_at)
        write_needs_ahead()
    return get_kit_values()


@transaction.atomic
def set_estimating_policy(*, values: Mapping[str, Any], by: Actor, occurred_at: datetime) -> Values:
    """Put all estimates in the place of what stood; days ahead need what follows from them."""
    standing = get_estimating_values()
    faults = _find_range_faults(values, ESTIMATING_RANGES, standing)
    faults += _find_estimate_faults(values)
    if faults:
        raise BadInput.of(faults)
    changes = find_changes(standing, values)
    if changes:
        EstimatingPolicy.objects.update_or_create(pk=1, defaults=dict(values))
        _tell("estimating_policy", changes, by, occurred_at)
        write_needs_ahead()
    return get_estimating_values()


def _find_range_faults(
    values: Mapping[str, Any], ranges: Mapping[str, _Range], standing: Values
) -> list[Fault]:
    return [
        Fault(standing[name].pointer, str(values[name]), allowed.message)
        for name, allowed in ranges.items()
        if not allowed.holds(values[name])
    ]


def _find_material_faults(vessel: Material | None, tagged: list[Material]) -> list[Fault]:
    faults = []
    if vessel is not None and vessel.stock_unit != "1":
        faults.append(Fault("/vessel_material", vessel.code, "is not counted in pieces, as vessels are"))
    faults += [
        Fault(f"/tagged_materials/{number}", row.code, "is no fitting")
        for number, row in enumerate(tagged)
        if row.kind != Material.Kind.FITTING
    ]
    return faults


def _find_estimate_faults(values: Mapping[str, Any]) -> list[Fault]:
    """What two settings say against each other."""
    faults = []
    caught, recovered = values["caught_fraction_mean"], values["recovered_fraction_mean"]
    if caught > recovered:
        message = f"is more than the {recovered:g} that comes back in all"
        faults.append(Fault("/caught_fraction_mean", str(caught), message))
    passes = values["passes_per_run"]
    if any(not 0 <= chance <= 1 for chance in passes) or (passes and abs(sum(passes) - 1) > SUM_TOLERANCE):
        faults.append(Fault("/passes_per_run", str(passes)[:60], "must be shares that add up to 1"))
    fluid = values["fluid"]
    if fluid is not None and (fluid.kind != Material.Kind.FLUID or fluid.recovered_from_id is not None):
        faults.append(Fault("/fluid", fluid.code, "is no fresh fluid"))
    return faults


def _tell(what: str, changes: dict[str, Setting], by: Actor, occurred_at: datetime) -> None:
    record_event(
        id=uuid4(),
        kind="company_settings_changed",
        occurred_at=occurred_at,
        body={
            "what": what,
            "by": by.code,
            "before": {name: setting.shown for name, setting in changes.items()},
        },
    )
