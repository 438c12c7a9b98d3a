"""The few places that every company has once, found by their code."""

from inventory.models import Place

SPECIAL_PLACES = {
    Place.Kind.VARIANCE: ("variance", "Book differences"),
    Place.Kind.PRICE_VARIANCE: ("price-variance", "Price variance"),
    Place.Kind.WRITE_DOWN: ("write-down", "Write-downs"),
    Place.Kind.WASTE: ("waste", "Waste handed over"),
    Place.Kind.PLANT: ("plant", "Left in the plant"),
    Place.Kind.PROCESS: ("conversion", "Conversions"),
    Place.Kind.SUPPLIER: ("opening-stock", "Opening stock"),
}


def get_special_place(kind: Place.Kind) -> Place:
    """Return the company's own place of a kind (several outside places of a kind may exist besides)."""
    code, _name = SPECIAL_PLACES[kind]
    return Place.objects.get(code=code)


def make_special_places() -> None:
    """Make those that are missing; existing ones are left as they are."""
    for kind, (code, name) in SPECIAL_PLACES.items():
        Place.objects.get_or_create(code=code, defaults={"kind": kind, "name": name})
