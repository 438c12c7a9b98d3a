"""Cable sizes as they are sent and as they are answered, and the act of setting one down."""

from api.wire.acts import Act, Asker, Json
from api.wire.calculations.fields import Choice, Record
from api.wire.input_fields import AmountField
from api.wire.schemas import TEXT, nullable, of, shape, words
from inventory.units import Amount, convert
from jobs.models import CableSize
from jobs.queries.access import require_may_set_cable_sizes
from jobs.services.cable_sizes import save_cable_size

_LENGTH = AmountField(dimension="length")
CABLE_SIZE = Record(
    fields={
        "outside_diameter": _LENGTH,
        "wall": _LENGTH,
        "nominal_bore": _LENGTH,
        "measured_bore": AmountField(
            dimension="length",
            default=None,
            may_be_null=True,
            about="the company's own; it wins over the nominal one",
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
    measured = values["measured_bore"]
    size = save_cable_size(
        designation=values["designation"],
        outside_diameter_mm=_in_mm(values["outside_diameter"]),
        wall_mm=_in_mm(values["wall"]),
        nominal_bore_mm=_in_mm(values["nominal_bore"]),
        measured_bore_mm=_in_mm(measured) if measured is not None else None,
        confidence=values["confidence"],
    )
    return cable_size_json(size)


def _in_mm(amount: Amount) -> float:
    return float(convert(amount.value, amount.unit, "mm"))


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
