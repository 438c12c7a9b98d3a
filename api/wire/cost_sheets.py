"""A job's cost sheet in JSON's own types."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.answers import named_json
from api.wire.moments import moment_json
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    TEXT,
    UUID,
    VALUED,
    WHOLE,
    Schema,
    listing,
    nullable,
    of,
    shape,
)
from api.wire.scrap_credits import scrap_credit_json
from api.wire.statements import stated_materials_json, values_json
from inventory.models import Place
from jobs.models import IssuedSheet
from jobs.queries.cost_groups import CostGroup
from jobs.queries.cost_sheet import CostLine, CostPerFoot, CostSheet, Differences, LateBill
from jobs.queries.fluid_figures import FluidSum
from jobs.queries.furnished_goods import Reconciliation
from jobs.queries.issued_sheets import find_faults
from jobs.queries.statement import OTHER, StatedPart

Json = dict[str, Any]
WORDS = ("drawn", "returned", "used", "recovered", "installed", "lost", "adjusted", "stays")
# Where the goods of others are; the first is the sum of the others.
RECONCILED = ("delivered", "with_job", "with_other_jobs", "returned_to_owner", "still_held", "otherwise")


def cost_sheet_body(sheet: CostSheet) -> Json:
    """The sheet; it is shown only to those who may see money."""
    job, currency = sheet.statement.job, sheet.statement.currency
    estimated = sheet.estimated_cost
    return {
        "job": {"reference": job.reference, "name": job.name, "state": job.state},
        "customer": job.customer.code if job.customer else None,
        "customer_name": job.customer.name if job.customer else None,
        "currency": currency,
        "owners": _owners(sheet),
        "estimated_at": moment_json(sheet.estimate.frozen_at) if sheet.estimate else None,
        "estimated_cost": money_json(estimated, currency) if estimated is not None else None,
        "cost": money_json(sheet.statement.cost, currency),
        "scrap": [
            scrap_credit_json(row, lambda value: money_json(value, currency)) for row in sheet.statement.scrap
        ],
        "scrap_credit": money_json(sheet.statement.scrap_credit, currency),
        "cost_less_scrap": money_json(sheet.statement.net_cost, currency),
        "late_differences": money_json(sheet.late, currency),
        "cost_as_known_now": money_json(sheet.cost_as_known, currency),
        "agrees_with_book": sheet.statement.agrees_with_book,
        "lines": [_line(line, currency) for line in sheet.lines],
        "furnished": [_furnished(line) for line in sheet.furnished],
        "unaccounted": [_unaccounted(row, sheet) for row in sheet.unaccounted],
        "unaccounted_parts": [
            {"by": cut.by, "name": cut.name or None, **_unaccounted(cut.sum, sheet)}
            for cut in sheet.unaccounted_parts
        ],
        "later_bills": [_late_bill(row, currency) for row in sheet.late_bills],
        "parts": [
            {"kind": part.kind, "name": part.name or None, **_group(part, currency)}
            for part in sheet.statement.parts
        ],
        "months": [{"month": row.name.isoformat(), **_group(row, currency)} for row in sheet.by_month],
        "crews": [{"crew": row.name or None, **_group(row, currency)} for row in sheet.by_crew],
        "cable_sizes": [_size(row, currency) for row in sheet.by_size],
    }


def _group(row: StatedPart | CostGroup[Any], currency: str) -> Json:
    return {
        "cost": money_json(row.cost, currency),
        "materials": stated_materials_json(row.materials, currency),
    }


def _quantities(line: CostLine) -> Json:
    unit, amounts = line.material.stock_unit, line.amounts
    shown = {"drawn": amounts.drawn, "adjusted": amounts.quantity(OTHER), "stays": amounts.stays}
    return {
        word: quantity_json(shown[word] if word in shown else amounts.quantity(word), unit) for word in WORDS
    }


def _line(line: CostLine, currency: str) -> Json:
    unit, estimate, estimated = line.material.stock_unit, line.estimate, line.estimated_cost
    return {
        "material": line.material.code,
        "name": line.material.name,
        "owner": line.owner.code,
        "estimated": quantity_json(estimate.quantity, unit) if estimate else None,
        "estimated_back": quantity_json(estimate.comes_back, unit) if estimate else None,
        "estimated_cost": money_json(estimated, currency) if estimated is not None else None,
        **_quantities(line),
        "lost_by_cause": _lost(line),
        "values": values_json(line.amounts, currency),
        "lost_values_by_cause": {
            cause: money_json(loss.value, currency) for cause, loss in line.lost.items()
        },
        "cost": money_json(line.amounts.cost, currency),
        "late_differences": money_json(line.late, currency),
        "differences": _differences(line.differences, currency) if line.differences else None,
    }


def _differences(found: Differences, currency: str) -> Json:
    return {
        "price": money_json(found.price, currency),
        "quantity": money_json(found.quantity, currency),
        "recovery": money_json(found.recovery, currency),
        "total": money_json(found.total, currency),
    }


def _furnished(line: CostLine) -> Json:
    unit = line.material.stock_unit
    return {
        "material": line.material.code,
        "name": line.material.name,
        "owner": line.owner.code,
        "estimated": quantity_json(line.estimate.quantity, unit) if line.estimate else None,
        **_quantities(line),
        "lost_by_cause": _lost(line),
        "reconciliation": _reconciliation(line.reconciled, unit) if line.reconciled else None,
    }


def _lost(line: CostLine) -> Json:
    return {
        cause: quantity_json(loss.quantity, line.material.stock_unit) for cause, loss in line.lost.items()
    }


def _reconciliation(found: Reconciliation, unit: str) -> Json:
    amounts = {word: quantity_json(getattr(found, word), unit) for word in RECONCILED}
    return {**amounts, "ties": found.ties}


def _unaccounted(row: FluidSum, sheet: CostSheet) -> Json:
    """What the balances cannot explain, and what that cost when it was drawn: part of the cost."""
    unit, interval, currency = row.fluid.stock_unit, row.interval, sheet.statement.currency
    unit_cost = sheet.unit_cost_of(row.fluid) if interval else None

    def money(quantity: int) -> Json:
        return money_json(round(quantity * (unit_cost or 0)), currency)

    return {
        "material": row.fluid.code,
        "name_of_material": row.fluid.name,
        "quantity": quantity_json(row.unaccounted, unit),
        "interval": [quantity_json(end, unit) for end in interval] if interval else None,
        "cost": money(row.unaccounted) if unit_cost is not None else None,
        "cost_interval": [money(end) for end in interval] if interval and unit_cost is not None else None,
    }


def _late_bill(row: LateBill, currency: str) -> Json:
    """One bill's part of the later differences, with the entries that booked it to price variance."""
    invoice, place = row.invoice, row.place
    part = {Place.Kind.RUN: "run", Place.Kind.SPAN: "span"}.get(Place.Kind(place.kind))
    return {
        "invoice": str(invoice.uuid),
        "number": invoice.number,
        "supplier": named_json(invoice.supplier),
        "invoice_date": invoice.invoice_date.isoformat(),
        "is_undone": invoice.undone_at is not None,
        "material": row.material.code,
        "name": row.material.name,
        "part": {"kind": part or "job", "name": getattr(place, part).name if part else None},
        "cost": money_json(row.value, currency),
        "entries": [str(entry.uuid) for entry in row.entries],
    }


def _owners(sheet: CostSheet) -> list[Json]:
    """Whoever's goods the sheet tells of, by the code that its lines name."""
    owners = {line.owner.code: line.owner for line in [*sheet.lines, *sheet.furnished]}
    return [named_json(owner) for _code, owner in sorted(owners.items())]


def _size(row: CostPerFoot, currency: str) -> Json:
    return {
        "cable_size": row.cable_size or None,
        "length": quantity_json(row.length_um, "m", "[ft_i]"),
        "cost": money_json(row.cost, currency),
        "cost_per_foot": money_json(row.per_foot, currency) if row.per_foot is not None else None,
    }


def issued_sheet_json(sheet: IssuedSheet, *, now: CostSheet | None = None) -> Json:
    """A sheet as issued; with `now`, also as known now and what is wrong with the issued one, if anything."""
    body: Json = {
        "id": str(sheet.uuid),
        "job": sheet.job.reference,
        "number": sheet.number,
        "issued_at": moment_json(sheet.issued_at),
        "issued_by": named_json(sheet.issued_by),
        "last_sequence": sheet.last_sequence,
        "last_hash": sheet.last_hash,
        "hash": sheet.hash,
        "as_issued": sheet.content,
    }
    if now is not None:
        body["as_known_now"] = cost_sheet_body(now)
        body["faults"] = find_faults(sheet)
    return body


QUANTITIES = {word: of("Quantity") for word in WORDS}
GROUP = {"cost": of("Money"), "materials": listing(of("StatedMaterial"))}
CAUSES: Schema = {"type": "object", "additionalProperties": of("Quantity")}
UNACCOUNTED: dict[str, Schema] = {
    "material": TEXT,
    "name_of_material": TEXT,
    "quantity": of("Quantity"),
    "interval": nullable(listing(of("Quantity"))),
    "cost": nullable(of("Money")),
    "cost_interval": nullable(listing(of("Money"))),
}
COMPONENTS: dict[str, Schema] = {
    "CostSheet": shape(
        job=shape(reference=TEXT, name=TEXT, state=TEXT),
        customer=nullable(TEXT),
        customer_name=nullable(TEXT),
        currency=TEXT,
        owners=listing(of("Named")),
        estimated_at=nullable(MOMENT),
        estimated_cost=nullable(of("Money")),
        cost=of("Money"),
        scrap=listing(of("ScrapCredit")),
        scrap_credit=of("Money"),
        cost_less_scrap=of("Money"),
        late_differences=of("Money"),
        cost_as_known_now=of("Money"),
        agrees_with_book=FLAG,
        lines=listing(
            shape(
                material=TEXT,
                name=TEXT,
                owner=TEXT,
                estimated=nullable(of("Quantity")),
                estimated_back=nullable(of("Quantity")),
                estimated_cost=nullable(of("Money")),
                **QUANTITIES,
                lost_by_cause=CAUSES,
                values=shape(**{word: of("Money") for word in VALUED}),
                lost_values_by_cause={"type": "object", "additionalProperties": of("Money")},
                cost=of("Money"),
                late_differences=of("Money"),
                differences=nullable(
                    shape(price=of("Money"), quantity=of("Money"), recovery=of("Money"), total=of("Money"))
                ),
            )
        ),
        furnished=listing(
            shape(
                material=TEXT,
                name=TEXT,
                owner=TEXT,
                estimated=nullable(of("Quantity")),
                **QUANTITIES,
                lost_by_cause=CAUSES,
                reconciliation=nullable(
                    shape(**{word: of("Quantity") for word in RECONCILED}, ties=FLAG),
                ),
            )
        ),
        unaccounted=listing(
            shape(**UNACCOUNTED),
        ),
        # The same by span, run, crew and month; without a name, what no span can be charged with.
        unaccounted_parts=listing(shape(by=TEXT, name=nullable(TEXT), **UNACCOUNTED)),
        later_bills=listing(
            shape(
                invoice=UUID,
                number=TEXT,
                supplier=of("Named"),
                invoice_date=DAY,
                is_undone=FLAG,
                material=TEXT,
                name=TEXT,
                part=shape(kind=TEXT, name=nullable(TEXT)),
                cost=of("Money"),
                entries=listing(UUID),
            )
        ),
        parts=listing(shape(kind=TEXT, name=nullable(TEXT), **GROUP)),
        months=listing(shape(month=DAY, **GROUP)),
        crews=listing(shape(crew=nullable(TEXT), **GROUP)),
        cable_sizes=listing(
            shape(
                cable_size=nullable(TEXT),
                length=of("Quantity"),
                cost=of("Money"),
                cost_per_foot=nullable(of("Money")),
            )
        ),
    ),
    "IssuedSheet": shape(
        id=UUID,
        job=TEXT,
        number=WHOLE,
        issued_at=MOMENT,
        issued_by=of("Named"),
        last_sequence=WHOLE,
        last_hash=TEXT,
        hash=TEXT,
        as_issued=of("CostSheet"),
    ),
}
COMPONENTS["ComparedSheet"] = {
    **COMPONENTS["IssuedSheet"],
    "properties": {
        **COMPONENTS["IssuedSheet"]["properties"],
        "as_known_now": of("CostSheet"),
        "faults": listing(TEXT),
    },
    "required": [*COMPONENTS["IssuedSheet"]["required"], "as_known_now", "faults"],
}
