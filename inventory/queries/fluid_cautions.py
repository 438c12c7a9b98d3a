"""The usual cautions wherever fluid is held back, handed over or thrown away. They never permit anything."""

from collections.abc import Iterable

from inventory.models import Material

EYES = "Eye protection when fluid is poured, strained or sampled."
DRAIN = "Nothing goes into a drain, a ditch or the ground."
MANIFEST = "Waste leaves under a manifest only: number, receiver and amount are noted before the truck goes."
LIFTING = "Full drums are never lifted by hand."
LABEL = "A waste drum is closed, labelled with what is in it and with the date on which it was started."
CLOSED = "Keep it closed."
HAZARD = "{names}: hazardous. Safety data sheet at hand, gloves and eye protection on, no flame near."
LOCAL = "How long waste may stand, and what counts as hazardous, local codes say; they come first."
HELD = "Set apart what is held back and mark it. It is not used, poured or loaded until safety lifts it."
NO_LIMIT = "No limit approved: since nobody set how many days this drum may stand, ask safety today."


def list_waste_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to waste that is gathered or handed over."""
    return [*list_hazards(materials), DRAIN, LABEL, MANIFEST, LIFTING, LOCAL]


def list_quarantine_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to goods that are held back."""
    return [HELD, *list_hazards(materials), DRAIN, LIFTING]


def list_handling_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to straining, testing and blending."""
    return [*list_hazards(materials), EYES, DRAIN, LIFTING]


def list_held_cautions(labels: Iterable[str]) -> list[str]:
    """What is said of vessels that are held back, by name; nothing where there are none."""
    named = ", ".join(labels)
    return [f"{named}: held back. {HELD}"] if named else []


def list_label_cautions(materials: Iterable[Material], *, is_waste: bool, is_vessel: bool) -> list[str]:
    """What belongs on the label of a container: few words, since they are read at arm's length."""
    rows = list(materials)
    is_fluid = any(material.kind == Material.Kind.FLUID for material in rows)
    found = (
        ["Safety data sheet at hand. Gloves and eye protection. No flame near."] if list_hazards(rows) else []
    )
    if is_fluid:
        found += [*(() if found else ("Eye protection when it is opened or poured.",)), DRAIN]
    if is_waste:
        found += [CLOSED, LOCAL]
    return [*found, LIFTING] if is_fluid and is_vessel else found


def list_hazards(materials: Iterable[Material]) -> list[str]:
    """One sentence that names what is hazardous; none where nothing is."""
    names = sorted({material.name for material in materials if material.is_hazardous})
    return [HAZARD.format(names=", ".join(names))] if names else []
