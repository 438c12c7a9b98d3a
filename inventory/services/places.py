"""Setting up the places where the company keeps goods."""

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Place

CODE_LENGTH = 160


@transaction.atomic
def save_stock_place(
    *, code: str, name: str, kind: str, inside: str = "", payload_kg: float | None = None
) -> Place:
    """Make a warehouse, bin, vehicle or site, or change its name, payload and where it belongs.

    Its kind is for good, since it decides what may happen there.
    """
    faults = []
    if not code.strip() or ":" in code or len(code) > CODE_LENGTH:
        message = f"is not a place's code; 1 to {CODE_LENGTH} characters without a colon"
        faults.append(Fault("code", code, message))
    if kind not in Place.STOCK_KINDS:
        faults.append(Fault("kind", kind, f"is none of: {', '.join(sorted(Place.STOCK_KINDS))}"))
    parent = Place.objects.filter(code=inside).first() if inside else None
    if inside and (parent is None or not parent.is_stock):
        faults.append(Fault("inside", inside, "is no stock place known here"))
    if kind == Place.Kind.BIN and not inside:
        faults.append(Fault("inside", "", "is needed for a bin; name the place that it is in"))
    standing = Place.objects.filter(code=code).first()
    if standing is not None and standing.kind != kind:
        faults.append(Fault("kind", kind, f"cannot be changed; {code} is a {standing.get_kind_display()}"))
    if faults:
        raise BadInput.of(faults)
    place = standing or Place(code=code, kind=kind)
    place.name, place.parent, place.payload_kg = name, parent, payload_kg
    place.save()
    return place
