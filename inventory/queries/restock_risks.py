"""Which planned uses of a material would stand if nothing more were ordered."""

from collections.abc import Mapping, Sequence

from inventory.calc.shortage_chances import Receipt
from inventory.calc.standing_work import STANDS_ABOVE, PlannedUse, standing_chances
from inventory.queries.restock_facts import RestockFacts, as_planned_use
from inventory.queries.restock_plans import RestockPlans
from inventory.units import MILLION


def find_chances_to_stand(
    facts: RestockFacts, plans: RestockPlans, row: int, receipts: Sequence[Receipt]
) -> dict[str, float]:
    """Chance of finding too little, by the reference of each planned use, the first due first.

    What a planner asks for one use in several rows is one use: it stands as a whole.
    """
    planned = facts.requirements.get(row, [])
    if not planned:
        return {}
    uses: dict[str, PlannedUse] = {}
    for need in planned:
        use = as_planned_use(facts, row, need)
        known = uses.get(need.reference)
        uses[need.reference] = known + use if known else use
    chances = standing_chances(
        on_hand=max(0, facts.on_hand[row]) / MILLION,
        uses=list(uses.values()),
        other=plans.unscheduled[row],
        other_variance=plans.unscheduled_variance[row],
        receipts=receipts,
        is_whole=facts.materials[facts.keys[row][1]].stock_unit == "1",
    )
    return dict(zip(uses, chances, strict=True))


def choose_at_risk(chances: Mapping[str, float], service: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Those that find too little more often than the service allows, and of them those that would stand."""
    at_risk = tuple(reference for reference, chance in chances.items() if chance > 1 - service + 1e-9)
    return at_risk, tuple(reference for reference in at_risk if chances[reference] > STANDS_ABOVE)
