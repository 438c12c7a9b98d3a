"""Cable sizes as the company knows them: the shipped ones are defaults, a measured bore wins."""

import re

from django.db import transaction

from inventory.errors import BadInput, Fault
from jobs.models import CableSize
from jobs.services.needs import write_needs_ahead

DESIGNATION = re.compile(r"\d*\.\d{3}", re.ASCII)
SHOWN_MM = 4


@transaction.atomic
def save_cable_size(
    *,
    designation: str,
    outside_diameter_mm: float,
    wall_mm: float,
    nominal_bore_mm: float,
    measured_bore_mm: float | None,
    confidence: str,
) -> CableSize:
    """Set down a size under its designation, new or known; days ahead need what follows from its bore.

    Every bore lies inside the sheath, the nominal one inside its wall.
    """
    faults = []
    if not DESIGNATION.fullmatch(designation):
        message = "is no designation; write the outside diameter in inches with three decimals, like .500"
        faults.append(Fault("/designation", designation[:60], message))
    if wall_mm <= 0:
        faults.append(Fault("/wall", _show(wall_mm), "must be above nothing"))
    for name, bore_mm in (("nominal_bore", nominal_bore_mm), ("measured_bore", measured_bore_mm)):
        if bore_mm is None:
            continue
        if bore_mm <= 0:
            message = f"must be above nothing: a size without a bore holds no fluid (size {designation})"
            faults.append(Fault(f"/{name}", _show(bore_mm), message))
        elif bore_mm >= outside_diameter_mm:
            message = f"must be less than the outside diameter of {_show(outside_diameter_mm)}"
            faults.append(Fault(f"/{name}", _show(bore_mm), message))
    if faults:
        raise BadInput.of(faults)
    values = {
        "outside_diameter_mm": outside_diameter_mm,
        "wall_mm": wall_mm,
        "nominal_bore_mm": nominal_bore_mm,
        "measured_bore_mm": measured_bore_mm,
        "confidence": confidence,
    }
    known = CableSize.objects.filter(designation=designation, **values).first()
    if known is not None:
        return known
    size, _is_new = CableSize.objects.update_or_create(designation=designation, defaults=values)
    write_needs_ahead()
    return size


def _show(millimetres: float) -> str:
    return f"{round(millimetres, SHOWN_MM):g} mm"
