"""A plain record of what lies where, kept while the history is written, so that it holds together."""

from decimal import Decimal

from fixtures_demo.scenario.routes import litres_to_gallons_millionths

MILLION = 10**6
UNITS = {"gal": "[gal_us]", "L": "L", "ft": "[ft_i]", "m": "m", "each": "1"}

# Drums of 55 gallons and totes of 1000 litres, by what their labels begin with.
GALLONS_BY_LABEL = {"D": 55, "C": 55, "S": 55, "RD": 55, "FT": 264, "RT": 264}


class ScenarioBroken(Exception):
    """The story draws what is not there."""


def to_millionths(value: Decimal, unit: str, material: str) -> int:
    """In the material's stock unit; only fluid, counted in gallons, is told of in litres."""
    if unit == "L" and material.startswith("glide"):
        return litres_to_gallons_millionths(value)
    return int(value * MILLION)


class Stock:
    """Amounts in millionths by (place, material, container), and where each container stands."""

    def __init__(self) -> None:
        self.held: dict[tuple[str, str, str], int] = {}
        self.standing: dict[str, str] = {}

    def amount(self, place: str, material: str, container: str = "") -> int:
        return self.held.get((place, material, container), 0)

    def in_container(self, material: str, container: str) -> int:
        return self.amount(self.standing[container], material, container)

    def add(self, place: str, material: str, container: str, quantity: int) -> None:
        key = (place, material, container)
        left = self.held.get(key, 0) + quantity
        if left < 0:
            raise ScenarioBroken(f"{key} would hold {left / MILLION}")
        capacity = GALLONS_BY_LABEL.get(container.split("-")[0])
        if capacity is not None and left > capacity * MILLION:
            raise ScenarioBroken(f"{key} would hold {left / MILLION}, more than goes in")
        self.held[key] = left

    def take_what_is_there(self, place: str, material: str, container: str, quantity: int) -> None:
        """A report beyond the book takes the book to nothing."""
        self.add(place, material, container, -min(quantity, self.amount(place, material, container)))

    def move_container(self, container: str, place: str) -> None:
        before = self.standing[container]
        for where, material, label in list(self.held):
            if label == container and where == before:
                self.held[place, material, label] = self.held.pop((where, material, label))
        self.standing[container] = place

    def containers_at(self, place: str, prefix: str) -> list[str]:
        """Labels of a kind at a place, in order."""
        return sorted(
            label for label, where in self.standing.items() if where == place and label.startswith(prefix)
        )
