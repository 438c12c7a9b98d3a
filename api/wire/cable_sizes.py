"""Cable sizes as they are sent and as they are answered, and the act of setting one down."""

from collections.abc import Mapping
from typing import Any

from api.wire.acts import Act, Asker, Json
from api.wire.calculations.fields import Choice, Record
from api.wire.entry_requests import AMOUNT
from api.wire.input_fields import AmountField
from api.wire.schemas import TEXT, nullable, of, shape, words
from inventory.errors import BadInput, Fault
from inventory.units import Amount, WrongDimension, convert
from jobs.models import CableSize
from jobs.queries.access import require_may_set_cable_sizes
from jobs.services.cable_sizes import save_cable_size

LENGTHS = ("outside_diameter", "wall", "nominal_bore", "measured_bore")
CABLE_SIZE = Record(
    fields={
        "outside_diameter": AMOUNT,
        "wall": AMOUNT,
        "nominal_bore": AMOUNT,
        "measured_bore": AmountField(
            default=None, may_be_null=True, about="the company's own; it wins over the nominal one"
        ),
        "confidence": Choice(options=tuple(CableSize.Confidence.values), about="of the nominal values"),
    }
)
COMPONENTS = {
    "CableSize": shape(
        designation=TEXT,
        outside_diameter=of("Quantity"),
        wall=of("Quantity"),
        nominal_bore=of("Quantity"),
        measured_bore=nullable(of("Quantity")),
        bore={**of("Quantity"), "description": "what is reckoned with"},
        confidence=words(CableSize.Confidence),
    )
}


def cable_size_json(row: CableSize) -> Json:
    """One size; lengths in millimetres, as metres with six decimals would round them."""
    return {
        "designation": row.designation,
        "outside_diameter": _mm(row.outside_diameter_mm),
        "wall": _mm(row.wall_mm),
        "nominal_bore": _mm(row.nominal_bore_mm),
        "measured_bore": _mm(row.measured_bore_mm) if row.measured_bore_mm is not None else None,
        "bore": _mm(row.bore_mm),
        "confidence": row.confidence,
    }


def cable_sizes_body() -> Json:
    """All sizes, the smallest bore first."""
    return {"results": [cable_size_json(row) for row in CableSize.objects.all()]}


def _mm(millimetres: float) -> dict[str, str]:
    return {"value": f"{millimetres:.6f}", "unit": "mm"}


def _save(values: Json, asker: Asker) -> Json:
    require_may_set_cable_sizes(asker.viewer)
    lengths = _read_lengths(values)
    size = save_cable_size(designation=values["designation"], confidence=values["confidence"], **lengths)
    return cable_size_json(size)


def _read_lengths(values: Mapping[str, Any]) -> dict[str, float | None]:
    found: dict[str, float | None] = {}
    faults = []
    for name in LENGTHS:
        amount: Amount | None = values[name]
        try:
            found[f"{name}_mm"] = float(convert(amount.value, amount.unit, "mm")) if amount else None
        except WrongDimension as refusal:
            faults.append(Fault(f"/{name}/unit", amount.unit if amount else "", refusal.message))
    if faults:
        raise BadInput.of(faults)
    return found


SAVE = Act(
    name="save_cable_size",
    summary="Set down a cable size under its designation, new or known; a measured bore wins.",
    record=CABLE_SIZE,
    request="CableSizeRequest",
    answer="CableSize",
    do=_save,
    status=200,
    names=("designation",),
    # One version for all sizes: they are few, and seldom changed.
    current=cable_sizes_body,
)
ACTS = (SAVE,)
