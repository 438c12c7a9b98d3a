"""What goods and vessels weigh, as far as somebody has said."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from inventory.models import Container, Material
from inventory.units import MILLION, convert

# Empty vessels that nobody has weighed: a steel drum 40 lb, a composite tote 132 lb, a pail 2.4 lb (read in
# trade tables or recalled; common practice).
USUAL_TARE_KG = {
    Container.Kind.DRUM: 18.1,
    Container.Kind.TOTE: 60.0,
    Container.Kind.PAIL: 1.1,
    Container.Kind.TRUCK_TANK: 0.0,
}
Kind = Container.Kind
# Said of what no person lifts alone, by what it is.
HOW_TO_MOVE = {
    Kind.PAIL: gettext_noop("lift it with two people"),
    Kind.DRUM: gettext_noop("drum trolley or lifting gear, never by hand"),
    Kind.TOTE: gettext_noop("fork truck or crane only"),
    Kind.TRUCK_TANK: gettext_noop("stays on its truck"),
    Kind.REEL: gettext_noop("reel stand or lifting gear, never by hand"),
}


def goods_mass_kg(material: Material, quantity: int) -> float | None:
    """Mass of so many millionths of a material's stock unit; None where nobody has said what it weighs."""
    if material.kind == Material.Kind.FLUID and material.density_kg_per_m3:
        m3 = float(convert(quantity / MILLION, material.stock_unit, "m3"))
        return m3 * material.density_kg_per_m3
    if material.mass_kg_per_unit is None:
        return None
    return material.mass_kg_per_unit * quantity / MILLION


def tare_kg(container: Container | None) -> float | None:
    """What a vessel weighs empty: as marked, else as usual for its kind; nothing for loose goods."""
    if container is None or container.kind == Kind.LOT:
        return 0.0
    if container.tare_kg is not None:
        return container.tare_kg
    return USUAL_TARE_KG.get(Kind(container.kind))


def load_mass_kg(container: Container | None, material: Material, quantity: int) -> float | None:
    """Mass of a vessel or reel with so much in it, or of goods without any."""
    goods, tare = goods_mass_kg(material, quantity), tare_kg(container)
    return None if goods is None or tare is None else goods + tare


def lifting_caution(container: Container | None, mass_kg: float | None, limit_kg: float) -> str:
    """What to say to whoever moves a single load; empty for what is light, or is no single load."""
    if container is None or container.kind == Kind.LOT or mass_kg is None or mass_kg <= limit_kg:
        return ""
    how = _(HOW_TO_MOVE[Kind(container.kind)])
    return _("about {mass} kg: {how}").format(mass=f"{mass_kg:.0f}", how=how)
