"""The company's check list and protective equipment, put in place as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Material
from jobs.models import CheckListItem, Occasion, ProtectiveEquipment
from jobs.services.needs import write_needs_ahead


@dataclass(frozen=True)
class GearLine:
    """Gear to look for."""

    name: str
    occasion: str = Occasion.ALWAYS
    detail: str = ""


@dataclass(frozen=True)
class ProtectionLine:
    """What protects the crew; with a material it is counted into kits."""

    name: str
    occasion: str = Occasion.ALWAYS
    material: Material | None = None
    pieces: int = 1


@transaction.atomic
def set_check_lists(*, gear: Sequence[GearLine], protective: Sequence[ProtectionLine]) -> None:
    """Put these lists in the place of what stood there, in this order; what is left out is withdrawn."""
    _refuse_doubles("gear", [line.name for line in gear])
    _refuse_doubles("protective", [line.name for line in protective])
    CheckListItem.objects.update(is_withdrawn=True)
    ProtectiveEquipment.objects.update(is_withdrawn=True)
    for number, line in enumerate(gear, start=1):
        CheckListItem.objects.update_or_create(
            name=line.name.strip(),
            defaults={
                "occasion": line.occasion,
                "detail": line.detail,
                "sequence": number * 10,
                "is_withdrawn": False,
            },
        )
    for number, item in enumerate(protective, start=1):
        ProtectiveEquipment.objects.update_or_create(
            name=item.name.strip(),
            defaults={
                "occasion": item.occasion,
                "material": item.material,
                "pieces": item.pieces,
                "sequence": number * 10,
                "is_withdrawn": False,
            },
        )
    # What protects the crews is counted into their kits.
    write_needs_ahead()


def _refuse_doubles(part: str, names: Sequence[str]) -> None:
    """A list names a thing once, and by a name."""
    faults = []
    for number, name in enumerate(names):
        if not name.strip():
            faults.append(Fault(f"/{part}/{number}/name", name, "is empty; name the thing"))
        elif name.strip() in {other.strip() for other in names[:number]}:
            faults.append(Fault(f"/{part}/{number}/name", name, "stands on the list already"))
    if faults:
        raise BadInput.of(faults)
