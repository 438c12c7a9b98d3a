"""Where goods stand that are not what was ordered: apart, held back and without value."""

from uuid import UUID

from inventory.models import Container, Material, Party, Place
from inventory.services.posting import End

QUARANTINE = "quarantine"


def find_or_make_quarantine(place: Place) -> Place:
    """The quarantine of the warehouse that a place lies in, a bin of its own; a site's is the site's."""
    top = place
    while top.kind == Place.Kind.BIN and top.parent is not None:
        top = top.parent
    return Place.objects.get_or_create(
        code=f"{QUARANTINE}:{top.code}",
        defaults={"kind": Place.Kind.BIN, "name": f"Quarantine, {top.name}"[:200], "parent": top},
    )[0]


def hold_back(
    *, end: End, quarantine: Place, material: Material, owner: Party, receipt: UUID, position: int
) -> End:
    """Return where goods go that are held back: their new container, put apart, or a lot made for them.

    The lot is held back as a vessel would be, so that nobody plans with what lies in it.
    """
    container = end.container
    if container is None:
        container = Container(
            label=f"Q-{receipt.hex}-{position}",
            kind=Container.Kind.LOT,
            material=material,
            owner=owner,
        )
    container.state = Container.State.HELD
    if container.stands_somewhere:
        container.place = quarantine
    return End(quarantine, container)
