"""A job's cost sheet as the rows of one table, for a workbook: first by material, then cut every other way.

`by` says how a row cuts the cost (material, cause of loss, span, crew, month, cable size), `name` which part
of that cut it is. The rows of one `by` add up to the cost, but for losses, which are part of it. Made of the
sheet's JSON, so that one that was issued is made of what was stored.
"""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from api.wire.cost_sheets import RECONCILED, WORDS
from inventory.models import Movement
from inventory.units import unit_label

Json = dict[str, Any]
VALUED = tuple(word for word in WORDS if word != "stays")
UNACCOUNTED = ("unaccounted", "unaccounted at least", "unaccounted at most")
HEADINGS = [
    "by",
    "name",
    "material",
    "owner",
    "unit",
    "estimated",
    *WORDS,
    *(f"{word} cost" for word in VALUED),
    "estimated cost",
    "cost",
    "price difference",
    "quantity difference",
    "recovery difference",
    "later bills",
    *UNACCOUNTED,
    *(f"{word} cost" for word in UNACCOUNTED),
    *(word.replace("_", " ") for word in RECONCILED),
    "extracted feet",
    "cost of a foot",
    "currency",
]
Cells = dict[str, str]


def cost_table(body: Json, issued: Json | None = None) -> tuple[list[str], list[list[str]]]:
    """Headings and rows: a row a material, the sum, core that was sold, then the other cuts of the cost.

    Of a sheet that was issued, its number and how it is checked come first.
    """
    table = _Table(body)
    rows = [
        *(_issued(issued) if issued else ()),
        *table.materials(),
        *table.sums(),
        *table.scrap(),
        *table.losses(),
        *table.groups(),
        *table.sizes(),
        *table.later_bills(),
        *table.unaccounted_parts(),
    ]
    return HEADINGS, [[row.get(heading, "") for heading in HEADINGS] for row in rows]


def describe_issue(issued: Json) -> list[tuple[str, str]]:
    """What stands on an issued sheet beside its content, by which it is checked."""
    by, moment = issued["issued_by"]["name"], issued["issued_at"][:16].replace("T", " ")
    return [
        ("Sheet", f"{issued['number']} of job {issued['job']}, issued {moment} UTC by {by}"),
        ("Book up to link", str(issued["last_sequence"])),
        ("Hash of that link", issued["last_hash"] or "none"),
        ("Hash of this sheet", issued["hash"]),
    ]


def _issued(issued: Json) -> Iterator[Cells]:
    for what, said in describe_issue(issued):
        yield {"by": "issued", "name": f"{what}: {said}"}


class _Table:
    """The rows of one sheet."""

    def __init__(self, body: Json) -> None:
        self._body = body
        self._currency = body["currency"]
        self._owners = {owner["code"]: owner["name"] for owner in body["owners"]}

    def materials(self) -> Iterator[Cells]:
        fluids = {row["material"]: row for row in self._body["unaccounted"]}
        for line in self._body["lines"]:
            cells = self._amounts("material", "", line)
            cells |= {
                "estimated": _value(line["estimated"]),
                "estimated cost": _money(line["estimated_cost"]),
                "later bills": _money(line["late_differences"]),
                **_unaccounted(fluids.get(line["material"])),
            }
            for word in ("price", "quantity", "recovery") if line["differences"] else ():
                cells[f"{word} difference"] = _money(line["differences"][word])
            yield cells
        for line in self._body["furnished"]:
            cells = self._amounts("material", "", line)
            cells["estimated"] = _value(line["estimated"])
            for word in RECONCILED if line["reconciliation"] else ():
                cells[word.replace("_", " ")] = _value(line["reconciliation"][word])
            yield cells

    def sums(self) -> Iterator[Cells]:
        yield self._total(
            "all materials",
            self._body["cost"],
            **{
                "estimated cost": _money(self._body["estimated_cost"]),
                "later bills": _money(self._body["late_differences"]),
            },
        )

    def scrap(self) -> Iterator[Cells]:
        """What sold core brought, negative; what is owed to another owner changes nothing."""
        for row in self._body["scrap"]:
            is_owed = Decimal(row["owed"]["value"]) != 0
            owed = f", owed to {row['owner']['name']}: {_money(row['owed'])}" if is_owed else ""
            yield {
                "by": "core sold",
                "name": f"core sold, lot {row['lot']}{owed}",
                "owner": row["owner"]["name"],
                "cost": f"{-Decimal(row['credited']['value']) + 0:.6f}",
                "currency": self._currency,
            }
        if self._body["scrap"]:
            yield self._total("cost less core sold", self._body["cost_less_scrap"])

    def losses(self) -> Iterator[Cells]:
        for line in [*self._body["lines"], *self._body["furnished"]]:
            for cause, quantity in line["lost_by_cause"].items():
                cells = self._named("cause of loss", Movement.Cause(cause).label, line)
                cells["lost"] = _value(quantity)
                if "lost_values_by_cause" in line:
                    lost = line["lost_values_by_cause"][cause]
                    cells |= {"lost cost": _money(lost), "currency": self._currency}
                yield cells

    def groups(self) -> Iterator[Cells]:
        """A row for each material in each span, run, crew and month."""
        for by, name, group in list_groups(self._body):
            for line in group["materials"]:
                yield self._amounts(by, name, line)

    def sizes(self) -> Iterator[Cells]:
        for row in self._body["cable_sizes"]:
            yield {
                "by": "cable size",
                "name": row["cable_size"] or "no size",
                "extracted feet": f"{Decimal(row['length']['value']):.3f}",
                "cost": _money(row["cost"]),
                "cost of a foot": _money(row["cost_per_foot"]),
                "currency": self._currency,
            }

    def later_bills(self) -> Iterator[Cells]:
        for row in self._body["later_bills"]:
            yield {
                "by": "later bill",
                "name": name_bill(row),
                "material": row["name"],
                "later bills": _money(row["cost"]),
                "currency": self._currency,
            }

    def unaccounted_parts(self) -> Iterator[Cells]:
        for row in self._body["unaccounted_parts"]:
            yield {
                "by": f"unaccounted by {row['by']}",
                "name": row["name"] or "no span",
                "material": row["name_of_material"],
                "unit": unit_label(row["quantity"]["unit"]),
                "currency": self._currency,
                **_unaccounted(row),
            }

    def _total(self, name: str, cost: Json, **also: str) -> Cells:
        return {"by": "total", "name": name, "cost": _money(cost), "currency": self._currency, **also}

    def _amounts(self, by: str, name: str, line: Json) -> Cells:
        """Quantity and money of each word; goods of others without money."""
        cells = self._named(by, name, line)
        for word in WORDS:
            cells[word] = _value(line[word])
        if "values" in line:
            for word in VALUED:
                cells[f"{word} cost"] = _money(line["values"][word])
            cells |= {"cost": _money(line["cost"]), "currency": self._currency}
        return cells

    def _named(self, by: str, name: str, line: Json) -> Cells:
        owner, unit = self._owners[line["owner"]], unit_label(line["stays"]["unit"])
        return {"by": by, "name": name, "material": line["name"], "owner": owner, "unit": unit}


def list_groups(body: Json) -> Iterator[tuple[str, str, Json]]:
    """Every span, run, crew and month with its materials, and how it is called."""
    for part in body["parts"]:
        yield part["kind"], part["name"] or "", part
    for row in body["crews"]:
        yield "crew", row["crew"] or "without a crew's report", row
    for row in body["months"]:
        yield "month", row["month"][:7], row


def name_bill(row: Json) -> str:
    """A later bill in words."""
    part = f"{row['part']['kind']} {row['part']['name']}" if row["part"]["name"] else "the job itself"
    undone = ", undone" if row["is_undone"] else ""
    return f"{row['number']} of {row['supplier']['name']}, {row['invoice_date']}{undone}, for {part}"


def _unaccounted(row: Json | None) -> Cells:
    if row is None or row["interval"] is None:
        return {}
    cells = dict(zip(UNACCOUNTED, map(_value, (row["quantity"], *row["interval"])), strict=True))
    if row["cost"] is not None:
        money = map(_money, (row["cost"], *row["cost_interval"]))
        cells |= dict(zip((f"{word} cost" for word in UNACCOUNTED), money, strict=True))
    return cells


def _value(amount: Json | None) -> str:
    return amount["value"] if amount is not None else ""


def _money(amount: Json | None) -> str:
    return f"{Decimal(amount['value']):.6f}" if amount is not None else ""
