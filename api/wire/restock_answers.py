"""Restock runs, their results, policies and projected stock, as JSON and as shapes."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.pictures.projected_stock import draw_projected_stock
from api.wire.pictures.tables import picture_body
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    UUID,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
)
from inventory.models import PolicyResult, RestockRun, StockPolicy
from inventory.queries.projected_stock import ProjectedStock
from inventory.queries.vehicle_top_ups import TopUp

QUANTITY = of("Quantity")
MONEY = of("Money")
COMPONENTS: dict[str, Schema] = {
    "RestockRun": shape(
        id=UUID,
        kind={"enum": list(RestockRun.Kind.values)},
        as_of=DAY,
        place=nullable(TEXT),
        horizon_days=WHOLE,
        asked_by=TEXT,
        asked_at=MOMENT,
        finished_at=nullable(MOMENT),
        chunks=WHOLE,
        done=WHOLE,
        given_up=WHOLE,
    ),
    "RestockResult": shape(
        place=TEXT,
        material=TEXT,
        owner=TEXT,
        demand_class=TEXT,
        method=TEXT,
        per_week=NUMBER,
        spread_per_week=NUMBER,
        lead_time_days=nullable(NUMBER),
        reorder_point=nullable(QUANTITY),
        order_quantity=nullable(QUANTITY),
        cycle_service=nullable(NUMBER),
        fill_rate=nullable(NUMBER),
        on_hand=QUANTITY,
        expected=QUANTITY,
        run_out_date=nullable(DAY),
        is_likely=FLAG,
        order_by_date=nullable(DAY),
        quantity=QUANTITY,
        supplier=nullable(TEXT),
        cost=nullable(MONEY),
        chance_short=NUMBER,
        needs_at_risk=WHOLE,
        why=TEXT,
    ),
    "StockPolicy": shape(
        place=nullable(TEXT),
        material=nullable(TEXT),
        target=TEXT,
        target_share=nullable(NUMBER),
        shortage_cost_per_day=nullable(MONEY),
        holding_cost_rate=nullable(NUMBER),
        review_days=nullable(WHOLE),
        forecast_method=TEXT,
        return_lag_days=nullable(NUMBER),
        return_lag_sd_days=nullable(NUMBER),
        storage_limit=nullable(QUANTITY),
        minimum_level=nullable(QUANTITY),
        maximum_level=nullable(QUANTITY),
        set_by=TEXT,
        set_at=MOMENT,
    ),
    "TopUp": shape(
        warehouse=TEXT,
        vehicle=TEXT,
        material=TEXT,
        on_vehicle=QUANTITY,
        minimum=QUANTITY,
        maximum=QUANTITY,
        quantity=QUANTITY,
        at_hand=QUANTITY,
    ),
    "RestockList": {
        "type": "object",
        "description": "What to order, soonest run-out first: the form of `manage.py restock --format json`.",
        "required": [
            "as_of",
            "horizon_days",
            "service",
            "lines",
            "orders",
            "placements",
            "materials_with_enough",
        ],
        "properties": {
            "as_of": DAY,
            "horizon_days": WHOLE,
            "service": NUMBER,
            "lines": listing({"type": "object"}),
            "orders": listing(of("ProposedOrder")),
            "placements": listing(of("StockPlacement")),
            "materials_with_enough": WHOLE,
        },
    },
    "ProposedOrder": shape(
        supplier=TEXT,
        place=TEXT,
        order_by_date=DAY,
        is_late=FLAG,
        lines=listing(of("ProposedOrderLine")),
        goods=nullable(MONEY),
        order_cost=nullable(MONEY),
        total=nullable(MONEY),
        least_value=nullable(MONEY),
        missing_value=nullable(MONEY),
        cycle_days=nullable(NUMBER),
        saving_per_year=nullable(MONEY),
    ),
    "StockPlacement": shape(
        warehouse=TEXT,
        material=TEXT,
        held=listing(shape(place=TEXT, safety_stock=QUANTITY, days=WHOLE)),
        supplies=listing(TEXT),
        is_usual=FLAG,
        cost_per_year=nullable(MONEY),
        saving_per_year=nullable(MONEY),
        why=nullable(TEXT),
    ),
    "ProposedOrderLine": shape(
        material=TEXT, quantity=QUANTITY, unit_cost=nullable(MONEY), cost=nullable(MONEY)
    ),
    "ProjectedStock": {
        "type": "object",
        "required": ["place", "material", "as_of", "reorder_point", "days", "picture"],
        "properties": {
            "place": TEXT,
            "material": TEXT,
            "as_of": DAY,
            "reorder_point": NUMBER,
            "days": listing({"type": "object"}),
            "picture": {"type": "object"},
        },
    },
}


def run_json(run: Any) -> dict[str, Any]:
    """A run with how far it has come; annotated by `visible_runs`."""
    return {
        "id": str(run.uuid),
        "kind": run.kind,
        "as_of": run.as_of.isoformat(),
        "place": run.place.code if run.place else None,
        "horizon_days": run.horizon_days,
        "asked_by": run.asked_by.code,
        "asked_at": run.asked_at.isoformat(),
        "finished_at": run.finished_at.isoformat() if run.finished_at else None,
        "chunks": run.chunk_count,
        "done": run.done_count,
        "given_up": run.given_up_count,
    }


def result_json(row: PolicyResult, *, currency: str, shows_money: bool) -> dict[str, Any]:
    """What a run found for one material."""
    unit = row.material.stock_unit

    def amount(millionths: int | None) -> dict[str, str] | None:
        return None if millionths is None else quantity_json(millionths, unit)

    has_cost = shows_money and row.cost is not None
    return {
        "place": row.place.code,
        "material": row.material.code,
        "owner": row.owner.code,
        "demand_class": row.demand_class,
        "method": row.method,
        "per_week": round(row.rate_per_week, 6),
        "spread_per_week": round(row.sd_per_week, 6),
        "lead_time_days": row.lead_time_days,
        "reorder_point": amount(row.reorder_point),
        "order_quantity": amount(row.order_quantity),
        "cycle_service": row.cycle_service,
        "fill_rate": row.fill_rate,
        "on_hand": amount(row.on_hand),
        "expected": amount(row.expected),
        "run_out_date": row.run_out_date.isoformat() if row.run_out_date else None,
        "is_likely": row.is_likely,
        "order_by_date": row.order_by_date.isoformat() if row.order_by_date else None,
        "quantity": amount(row.quantity),
        "supplier": row.supplier.code if row.supplier else None,
        "cost": money_json(row.cost, currency) if has_cost and row.cost is not None else None,
        "chance_short": round(row.chance_short, 4),
        "needs_at_risk": row.needs_at_risk,
        "why": row.why,
    }


def policy_json(policy: StockPolicy, *, currency: str, shows_money: bool) -> dict[str, Any]:
    """A policy as it was set; what it leaves open is null or empty."""
    unit = policy.material.stock_unit if policy.material else "1"

    def amount(millionths: int | None) -> dict[str, str] | None:
        return None if millionths is None else quantity_json(millionths, unit)

    cost = policy.shortage_cost_per_day if shows_money else None
    return {
        "place": policy.place.code if policy.place else None,
        "material": policy.material.code if policy.material else None,
        "target": policy.target,
        "target_share": policy.target_share,
        "shortage_cost_per_day": money_json(cost, currency) if cost is not None else None,
        "holding_cost_rate": policy.holding_cost_rate,
        "review_days": policy.review_days,
        "forecast_method": policy.forecast_method,
        "return_lag_days": policy.return_lag_days,
        "return_lag_sd_days": policy.return_lag_sd_days,
        "storage_limit": amount(policy.storage_limit),
        "minimum_level": amount(policy.minimum_level),
        "maximum_level": amount(policy.maximum_level),
        "set_by": policy.set_by.code,
        "set_at": policy.set_at.isoformat(),
    }


def projected_stock_json(stock: ProjectedStock) -> dict[str, Any]:
    """The days ahead with the picture of them and its table."""
    return {
        "place": stock.place.code,
        "material": stock.material.code,
        "as_of": stock.as_of.isoformat(),
        "reorder_point": round(stock.reorder_point, 6),
        "days": [
            {
                "date": day.day.isoformat(),
                "level": round(day.level, 6),
                "low": round(day.low, 6),
                "high": round(day.high, 6),
                "scheduled_out": round(day.scheduled_out, 6),
                "scheduled_back": round(day.scheduled_back, 6),
                "chance_short": round(day.chance_short, 6),
            }
            for day in stock.days
        ],
        "picture": picture_body(draw_projected_stock(stock)),
    }


def top_up_json(row: TopUp) -> dict[str, Any]:
    """What to put on a vehicle."""
    unit = row.material.stock_unit
    amounts = ("on_vehicle", "minimum", "maximum", "quantity", "at_hand")
    return {
        "warehouse": row.warehouse.code,
        "vehicle": row.vehicle.code,
        "material": row.material.code,
        **{name: quantity_json(getattr(row, name), unit) for name in amounts},
    }
