"""By which formula the cost of a material goes."""

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Holding, Material


class CostFormulaInUse(SpanstockError):
    """A material's cost formula stays once any of it was held: what was drawn was costed by it."""

    code = "cost_formula_in_use"


@transaction.atomic
def set_cost_formula(*, material: Material, cost_formula: str) -> Material:
    """Cost a material first in first out, by weighted average, or by the very reel; before any is held.

    Specific cost is for what is not interchangeable only (IAS 2.23-24): fibre and duct on their reels.

    Raises
    ------
    BadInput
        If the formula is unknown, or specific for goods of which one piece is as good as another.
    CostFormulaInUse
        If any of the material was held and the formula is another.
    """
    kept = Material.objects.select_for_update().get(pk=material.pk)
    fault = _find_fault(kept, cost_formula)
    if fault:
        raise BadInput.of([Fault("/cost_formula", cost_formula, fault)])
    if kept.cost_formula == cost_formula:
        return kept
    if Holding.objects.filter(material=kept).exists():
        raise CostFormulaInUse(
            f"{kept} goes by {kept.get_cost_formula_display()} and was held already. Make another material "
            "for goods that are to be costed otherwise."
        )
    kept.cost_formula = cost_formula
    kept.save(update_fields=["cost_formula"])
    return kept


def _find_fault(material: Material, cost_formula: str) -> str:
    if cost_formula not in Material.CostFormula.values:
        return f"must be one of {', '.join(Material.CostFormula.values)}"
    is_specific = cost_formula == Material.CostFormula.SPECIFIC
    if is_specific and material.kind not in Material.NOT_INTERCHANGEABLE:
        kind = material.get_kind_display()
        return (
            f"is not for a {kind}, one of which is as good as another (IAS 2.24); "
            "take fifo or weighted_average"
        )
    return ""
