"""What the company sets for kits and estimates, as it is sent and as it is answered: in the same form."""

from collections.abc import Mapping
from typing import Any

from api.wire.calculations.fields import Field, Flag, Listing, Number, Record, Schema, Whole
from api.wire.input_fields import AmountField, NoteField, ReferenceField
from api.wire.schemas import FLAG, NUMBER, TEXT, WHOLE, listing, nullable, of, shape
from inventory.units import convert
from jobs.queries.company_settings import QUANTITIES, Values

_LENGTH, _VOLUME = AmountField(dimension="length"), AmountField(dimension="volume")
_MATERIAL = ReferenceField(noun="material", default=None, may_be_null=True)
KIT_FIELDS: dict[str, Field] = {
    "seals_per_run": Whole(),
    "stub": _LENGTH,
    "hose_and_tank": _VOLUME,
    "lifting_limit": AmountField(dimension="mass"),
    "is_recovered_first": Flag(),
    "vessel_material": _MATERIAL,
    "vessel_capacity": _VOLUME,
    "useful_remnant": _LENGTH,
    "truck_reel_cost": Whole(),
    "open_reel_cost": Whole(),
    "sealed_reel_cost": Whole(),
    "distant_reel_cost": Whole(),
    "tagged_materials": Listing(item=ReferenceField(noun="material")),
}
_NUMBERS = (
    "injected_ratio_mean",
    "injected_ratio_sd",
    "caught_fraction_mean",
    "caught_fraction_sd",
    "recovered_fraction_mean",
    "recovered_fraction_sd",
    "reusable_fraction",
    "fit_again_fraction",
    "quantile",
    "fitting_loss_probability",
    "projectile_oversize",
    "projectile_oversize_tolerance",
    "fibre_allowance_fraction",
    "largest_fill_ratio",
    "catch_fill_limit",
)
ESTIMATING_FIELDS: dict[str, Field] = {
    **{name: Number() for name in _NUMBERS},
    "set_up_volume": _VOLUME,
    "sets_in_use": Whole(),
    "passes_per_run": Listing(item=Number(), about="chances of 1, 2, 3, ... projectiles to clean a run"),
    "tail": _LENGTH,
    "slack": _LENGTH,
    "fluid": _MATERIAL,
    "cautions": Listing(item=NoteField(longest=300)),
}
KIT_POLICY, ESTIMATING_POLICY = Record(fields=KIT_FIELDS), Record(fields=ESTIMATING_FIELDS)


def to_fields(values: Mapping[str, Any]) -> dict[str, Any]:
    """Every setting by the name of its field, quantities in the unit in which they are kept."""
    found = dict(values)
    for field, (name, unit) in QUANTITIES.items():
        if name in found:
            amount = found.pop(name)
            found[field] = float(convert(amount.value, amount.unit, unit))
    return found


def settings_body(values: Values) -> dict[str, Any]:
    """The settings in the form in which they are sent back."""
    return {
        setting.pointer[1:]: (
            {"value": f"{setting.value:.6f}", "unit": setting.unit} if setting.unit else setting.shown
        )
        for setting in values.values()
    }


def _answer_shape(fields: Mapping[str, Field]) -> Schema:
    return shape(**{name: _answer_of(field) for name, field in fields.items()})


def _answer_of(field: Field) -> Schema:
    if isinstance(field, AmountField):
        return of("Quantity")
    if isinstance(field, ReferenceField):
        return nullable(TEXT)
    if isinstance(field, Listing):
        return listing(NUMBER if isinstance(field.item, Number) else TEXT)
    if isinstance(field, Whole):
        return nullable(WHOLE) if field.may_be_null else WHOLE
    return FLAG if isinstance(field, Flag) else NUMBER


COMPONENTS = {
    "KitPolicy": _answer_shape(KIT_FIELDS),
    "EstimatingPolicy": _answer_shape(ESTIMATING_FIELDS),
}
