"""The restock list as JSON."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from inventory.queries.restock import RestockList
from inventory.queries.restock_lines import RestockLine


def restock_json(found: RestockList, *, currency: str, shows_money: bool = True) -> dict[str, Any]:
    """The whole list, soonest run-out first; costs are null for who may not see them."""
    return {
        "as_of": found.as_of.isoformat(),
        "horizon_days": found.horizon_days,
        "service": found.service,
        "lines": [_line_json(line, currency, shows_money) for line in found.lines],
        "materials_with_enough": found.enough,
    }


def _line_json(line: RestockLine, currency: str, shows_money: bool) -> dict[str, Any]:
    unit = line.material.stock_unit
    terms = line.terms
    unit_cost, cost = (line.unit_cost, line.cost) if shows_money else (None, None)
    return {
        "run_out_date": line.run_out_date.isoformat(),
        "is_likely": line.is_likely,
        "why": line.why,
        "material": line.material.code,
        "name": line.material.name,
        "place": line.place.code,
        "owner": line.owner.code,
        "order_by_date": line.order_by_date.isoformat(),
        "is_late": line.is_late,
        "quantity": quantity_json(line.quantity, unit),
        "supplier": terms.supplier.code if terms else None,
        "unit_cost": money_json(unit_cost, currency) if unit_cost is not None else None,
        "cost": money_json(cost, currency) if cost is not None else None,
        "chance_short": round(line.chance_short, 4),
        "on_hand": quantity_json(line.on_hand, unit),
        "needed": quantity_json(line.needed, unit),
        "unscheduled": quantity_json(line.unscheduled, unit),
        "comes_back": quantity_json(line.comes_back, unit),
        "expected": quantity_json(line.expected, unit),
        "needs_at_risk": line.needs_at_risk,
        "at_risk": list(line.at_risk),
        "needs": [
            {
                "date": need.needed_date.isoformat(),
                "reference": need.reference,
                "quantity": quantity_json(need.mean, unit),
                "why": need.why,
            }
            for need in line.needs
        ],
    }
