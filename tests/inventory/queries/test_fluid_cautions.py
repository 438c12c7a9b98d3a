"""The usual cautions of fluid, goods held back and waste: always the same, hazards by name on top."""

from collections.abc import Callable

import pytest

from inventory.models import Material
from inventory.queries.fluid_cautions import (
    DRAIN,
    EYES,
    HELD,
    LIFTING,
    LOCAL,
    MANIFEST,
    list_handling_cautions,
    list_held_cautions,
    list_quarantine_cautions,
    list_waste_cautions,
)

PLAIN = Material(code="fluid", name="Fluid", kind="fluid", stock_unit="L")
BAD = Material(code="solvent", name="Solvent", kind="fluid", stock_unit="L", is_hazardous=True)
WORSE = Material(code="acid", name="Acid", kind="fluid", stock_unit="L", is_hazardous=True)


def test_cautions_name_what_belongs_to_the_work() -> None:
    assert list_handling_cautions([PLAIN]) == [EYES, DRAIN, LIFTING]
    assert list_quarantine_cautions([PLAIN]) == [HELD, DRAIN, LIFTING]
    waste = list_waste_cautions([PLAIN])
    assert {DRAIN, MANIFEST, LIFTING, LOCAL} < set(waste)
    assert waste[-1] == LOCAL


@pytest.mark.parametrize("cautions", [list_handling_cautions, list_quarantine_cautions, list_waste_cautions])
def test_hazardous_materials_are_named_once(cautions: Callable[[list[Material]], list[str]]) -> None:
    hazards = [text for text in cautions([BAD, PLAIN, WORSE, BAD]) if "hazardous." in text]
    (sentence,) = hazards
    assert sentence.startswith(
        "Acid, Solvent: hazardous. Safety data sheet at hand, gloves and eye protection"
    )


def test_held_vessels_are_named() -> None:
    assert list_held_cautions(["D-1", "D-2"]) == [f"D-1, D-2: held back. {HELD}"]
    assert list_held_cautions([]) == []
