"""Setting what the company reckons with."""

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Material
from jobs.models import EstimatingPolicy


@transaction.atomic
def set_fluid(*, material_code: str) -> EstimatingPolicy:
    """Set the fluid that kits reckon with; days that are planned are told by whoever plans them next."""
    fluid = Material.objects.filter(code=material_code).first()
    if fluid is None or fluid.kind != Material.Kind.FLUID or fluid.recovered_from_id is not None:
        raise BadInput.of([Fault("fluid", material_code, "is no fresh fluid known here")])
    policy, _is_new = EstimatingPolicy.objects.get_or_create(pk=1)
    if policy.fluid_id != fluid.pk:
        policy.fluid = fluid
        policy.save(update_fields=["fluid"])
    return policy
