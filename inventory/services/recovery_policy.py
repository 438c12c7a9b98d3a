"""Which share of its cost a recovered fluid brings back from the work."""

from decimal import Decimal

from inventory.errors import BadInput, Fault
from inventory.models import Material

MILLION = 10**6


def set_recovered_value_share(*, material_code: str, share: Decimal) -> Material:
    """Set the share for entries recorded from now on; what was recorded keeps its cost."""
    material = Material.objects.filter(code=material_code).first()
    if material is None or material.recovered_from_id is None:
        message = "is no material here that is recovered from another"
        raise BadInput.of([Fault("material", material_code, message)])
    millionths = share * MILLION
    if not 0 <= share <= 1 or millionths != int(millionths):
        message = "is not a share from 0 to 1 with at most six decimals"
        raise BadInput.of([Fault("share", str(share), message)])
    if material.recovered_value_share != millionths:
        material.recovered_value_share = int(millionths)
        material.save(update_fields=["recovered_value_share"])
    return material
