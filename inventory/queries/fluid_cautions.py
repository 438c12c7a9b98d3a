"""The usual cautions wherever fluid is held back, handed over or thrown away. They never permit anything."""

from collections.abc import Iterable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from inventory.models import Material

EYES = gettext_noop("Eye protection when fluid is poured, strained or sampled.")
DRAIN = gettext_noop("Nothing goes into a drain, a ditch or the ground.")
MANIFEST = gettext_noop(
    "Waste leaves under a manifest only: number, receiver and amount are noted before the truck goes."
)
LIFTING = gettext_noop("Full drums are never lifted by hand.")
LABEL = gettext_noop(
    "A waste drum is closed, labelled with what is in it and with the date on which it was started."
)
CLOSED = gettext_noop("Keep it closed.")
HAZARD = gettext_noop(
    "{names}: hazardous. Safety data sheet at hand, gloves and eye protection on, no flame near."
)
LOCAL = gettext_noop(
    "How long waste may stand, and what counts as hazardous, local codes say; they come first."
)
HELD_BACK = gettext_noop("{names}: held back.")
HELD = gettext_noop(
    "Set apart what is held back and mark it. It is not used, poured or loaded until safety lifts it."
)
NO_LIMIT = gettext_noop(
    "No limit approved: since nobody set how many days this drum may stand, ask safety today."
)


def list_waste_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to waste that is gathered or handed over."""
    return [*list_hazards(materials), *_say(DRAIN, LABEL, MANIFEST, LIFTING, LOCAL)]


def list_quarantine_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to goods that are held back."""
    return [_(HELD), *list_hazards(materials), *_say(DRAIN, LIFTING)]


def list_handling_cautions(materials: Iterable[Material]) -> list[str]:
    """What belongs to straining, testing and blending."""
    return [*list_hazards(materials), *_say(EYES, DRAIN, LIFTING)]


def list_held_cautions(labels: Iterable[str]) -> list[str]:
    """What is said of vessels that are held back, by name; nothing where there are none."""
    named = ", ".join(labels)
    return [f"{_(HELD_BACK).format(names=named)} {_(HELD)}"] if named else []


def list_label_cautions(materials: Iterable[Material], *, is_waste: bool, is_vessel: bool) -> list[str]:
    """What belongs on the label of a container: few words, since they are read at arm's length."""
    rows = list(materials)
    is_fluid = any(material.kind == Material.Kind.FLUID for material in rows)
    found = (
        [_("Safety data sheet at hand. Gloves and eye protection. No flame near.")]
        if list_hazards(rows)
        else []
    )
    if is_fluid:
        found += [*([] if found else [_("Eye protection when it is opened or poured.")]), _(DRAIN)]
    if is_waste:
        found += _say(CLOSED, LOCAL)
    return [*found, _(LIFTING)] if is_fluid and is_vessel else found


def list_hazards(materials: Iterable[Material]) -> list[str]:
    """One sentence that names what is hazardous; none where nothing is."""
    names = sorted({material.name for material in materials if material.is_hazardous})
    return [_(HAZARD).format(names=", ".join(names))] if names else []


def _say(*sentences: str) -> list[str]:
    return [_(sentence) for sentence in sentences]
