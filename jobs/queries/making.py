"""What is short and can be made here by a recipe: a blank adapted to a fitting."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from inventory.models import Material, Recipe, RecipeLine
from inventory.units import MILLION
from jobs.queries.kit_stock import KitStock, Pick, StockItem, take_pieces
from jobs.queries.need import Need, count


@dataclass
class Making:
    """What a recipe makes of what lies in the warehouse: how much, from what, and what to know about it."""

    made: int
    picks: list[Pick]
    why: str


@dataclass(frozen=True)
class _Formula:
    recipe: Recipe
    makes: int
    inputs: list[RecipeLine]


@dataclass
class Makings:
    """Recipes by what they make. Read once for however many sheets."""

    formulas: dict[int, list[_Formula]] = field(default_factory=dict)

    def make(self, need: Need, missing: int, stock: KitStock) -> Making | None:
        """Make as many of the missing pieces as the first recipe with inputs in the warehouse gives."""
        if need.material is None or need.unit != "1":
            return None
        for formula in self.formulas.get(need.material.pk, []):
            wanted = -(-missing // formula.makes)
            times = min([wanted, *(self._times(part, need, stock) for part in formula.inputs)])
            if times < 1:
                continue
            picks: list[Pick] = []
            for part in formula.inputs:
                items = _lying(part.material, need, stock.warehouse)
                taken, _got = take_pieces(items, part.quantity * times)
                picks += taken
            made = min(times * formula.makes, missing)
            return Making(made, picks, _explain(formula, made // MILLION))
        return None

    def _times(self, part: RecipeLine, need: Need, stock: KitStock) -> int:
        return sum(item.usable for item in _lying(part.material, need, stock.warehouse)) // part.quantity


def load_makings() -> Makings:
    """Recipes that make one thing out of others."""
    formulas: dict[int, list[_Formula]] = {}
    recipes = Recipe.objects.prefetch_related("lines__material").order_by("code")
    for recipe in recipes:
        lines: Sequence[RecipeLine] = list(recipe.lines.all())
        outputs = [line for line in lines if line.is_output]
        inputs = [line for line in lines if not line.is_output]
        if len(outputs) == 1 and inputs:
            formula = _Formula(recipe, outputs[0].quantity, inputs)
            formulas.setdefault(outputs[0].material_id, []).append(formula)
    return Makings(formulas)


def _lying(material: Material, need: Need, items: list[StockItem]) -> list[StockItem]:
    owner = need.owner.pk if need.owner is not None else None
    return [
        item
        for item in items
        if item.material.pk == material.pk and item.owner_id == owner and not item.is_held_back
    ]


def _explain(formula: _Formula, pieces: int) -> str:
    parts = ", ".join(part.material.name for part in formula.inputs)
    return (
        f"{count(pieces, 'piece')} to be made by recipe {formula.recipe.name} from {parts}; "
        "checked by another than who made it, before it is rigged."
    )
