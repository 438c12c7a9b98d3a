"""The restock list as JSON."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from inventory.queries.order_proposals import OrderProposal
from inventory.queries.restock import RestockList
from inventory.queries.restock_lines import RestockLine
from inventory.queries.stock_placement import Placement


def restock_json(found: RestockList, *, currency: str, shows_money: bool = True) -> dict[str, Any]:
    """The whole list, soonest run-out first; costs are null for who may not see them."""
    return {
        "as_of": found.as_of.isoformat(),
        "horizon_days": found.horizon_days,
        "service": found.service,
        "lines": [_line_json(line, currency, shows_money) for line in found.lines],
        "orders": [_order_json(order, currency, shows_money) for order in found.orders],
        "placements": [_placement_json(row, currency, shows_money) for row in found.placements],
        "materials_with_enough": found.enough,
    }


def _order_json(order: OrderProposal, currency: str, shows_money: bool) -> dict[str, Any]:
    """What is to be ordered together."""

    def money(millionths: int | None) -> dict[str, str] | None:
        return money_json(millionths, currency) if shows_money and millionths is not None else None

    return {
        "supplier": order.supplier.code,
        "place": order.place.code,
        "order_by_date": order.order_by_date.isoformat(),
        "is_late": order.is_late,
        "lines": [
            {
                "material": row.line.material.code,
                "quantity": quantity_json(row.quantity, row.line.material.stock_unit),
                "unit_cost": money(row.unit_cost),
                "cost": money(row.cost),
            }
            for row in order.lines
        ],
        "goods": money(order.goods),
        "order_cost": money(order.order_cost),
        "total": money(order.total),
        "least_value": money(order.least_value),
        "missing_value": money(order.missing_value),
        "cycle_days": None if order.cycle_days is None else round(order.cycle_days, 1),
        "saving_per_year": money(order.saving_per_year),
    }


def _placement_json(row: Placement, currency: str, shows_money: bool) -> dict[str, Any]:
    """Where a material's safety stock lies best; the sentence names money, so it too is withheld."""
    unit = row.material.stock_unit
    return {
        "warehouse": row.warehouse.code,
        "material": row.material.code,
        "held": [
            {
                "place": there.place.code,
                "safety_stock": quantity_json(there.safety_stock, unit),
                "days": there.days,
            }
            for there in row.held
        ],
        "supplies": [place.code for place in row.supplies],
        "is_usual": row.is_usual,
        "cost_per_year": money_json(row.cost, currency) if shows_money else None,
        "saving_per_year": money_json(row.saving, currency) if shows_money else None,
        "why": row.why if shows_money else None,
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
        "standing": list(line.standing),
        "needs": [
            {
                "date": need.needed_date.isoformat(),
                "reference": need.reference,
                "quantity": quantity_json(need.mean, unit),
                "why": need.why,
                "chance_to_stand": round(need.chance_to_stand, 4),
            }
            for need in line.needs
        ],
    }
