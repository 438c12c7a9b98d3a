"""Saying what would serve a need that is short, but goes with another crew."""

from jobs.queries.kit_stock import KitStock
from jobs.queries.need import Need

SHOWN_LABELS = 5


def explain_given_away(need: Need, stock: KitStock, recovered: set[int]) -> str:
    """Name what would serve a need that is short, but goes with another crew; empty where nothing does."""
    materials = recovered | ({need.material.pk} if need.material is not None else set())
    found = [
        item.container.label if item.container is not None else f"{item.material.name} in {item.place.name}"
        for item in stock.given_away
        if item.material.pk in materials and need.owner is not None and item.owner_id == need.owner.pk
    ]
    return say_given_away(found)


def say_given_away(labels: list[str]) -> str:
    if not labels:
        return ""
    more = f" and {len(labels) - SHOWN_LABELS} more" if len(labels) > SHOWN_LABELS else ""
    shown = ", ".join(labels[:SHOWN_LABELS])
    return f" Goes with another crew that is served first that day: {shown}{more}."
