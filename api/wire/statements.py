"""A job's statement in JSON's own types."""

from collections.abc import Iterable
from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.fluid_sums import fluid_sum_json
from api.wire.scrap_credits import scrap_credit_json
from jobs.queries.statement import OTHER, Amounts, StatedMaterial, StatedPart, Statement

WORDS = ("used", "installed", "lost", "returned", "recovered", OTHER)


def statement_body(statement: Statement, *, has_money: bool = True) -> dict[str, Any]:
    """The statement; without money for those who may not see any."""
    currency = statement.currency if has_money else ""
    job = statement.job
    body: dict[str, Any] = {
        "job": {"reference": job.reference, "name": job.name, "state": job.state},
        "customer": job.customer.code if job.customer else None,
        "materials": [stated_material_json(line, currency) for line in statement.materials],
        "furnished": [stated_material_json(line, "") for line in statement.furnished],
        "parts": [_part(part, currency) for part in statement.parts],
        "fluid": [fluid_sum_json(found) for found in statement.fluid],
    }
    if has_money:
        body["cost"] = money_json(statement.cost, currency)
        body["book_value"] = money_json(statement.book_value, currency)
        body["agrees_with_book"] = statement.agrees_with_book
        body["scrap"] = [
            scrap_credit_json(row, lambda value: money_json(value, currency)) for row in statement.scrap
        ]
        body["scrap_credit"] = money_json(statement.scrap_credit, currency)
        body["cost_less_scrap"] = money_json(statement.net_cost, currency)
    return body


def stated_material_json(line: StatedMaterial, currency: str) -> dict[str, Any]:
    """Quantities of one material by word and, where a currency is given, what they cost."""
    unit, amounts = line.material.stock_unit, line.amounts
    body: dict[str, Any] = {
        "material": line.material.code,
        "name": line.material.name,
        "owner": line.owner.code,
        "drawn": quantity_json(amounts.drawn, unit),
        "stays": quantity_json(amounts.stays, unit),
        **{word: quantity_json(amounts.quantity(word), unit) for word in WORDS},
    }
    if currency:
        body["values"] = values_json(amounts, currency)
        body["cost"] = money_json(amounts.cost, currency)
    return body


def values_json(amounts: Amounts, currency: str) -> dict[str, Any]:
    """What was drawn and each word of it, in money."""
    return {
        "drawn": money_json(amounts.drawn_value, currency),
        **{word: money_json(amounts.value(word), currency) for word in WORDS},
    }


def stated_materials_json(lines: Iterable[StatedMaterial], currency: str) -> list[dict[str, Any]]:
    """The materials of one part; goods of others without money."""
    return [stated_material_json(line, currency if line.owner.is_company else "") for line in lines]


def _part(part: StatedPart, currency: str) -> dict[str, Any]:
    body: dict[str, Any] = {
        "kind": part.kind,
        "name": part.name or None,
        "materials": stated_materials_json(part.materials, currency),
    }
    if currency:
        body["cost"] = money_json(part.cost, currency)
    return body
