"""A job's cost sheet on paper, made of its JSON: as it stands, or as it was issued and stored."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from api.wire.cost_tables import describe_issue, list_groups, name_bill
from api.wire.papers.paper import Paper
from inventory.models import Movement
from inventory.money import format_money, to_money_millionths
from inventory.units import format_amount
from jobs.models import Job

Json = dict[str, Any]
MATERIAL_HEADINGS = (
    "Material",
    "Estimate",
    "Drawn",
    "Returned",
    "Recovered",
    "Stays",
    "Est. cost",
    "Cost",
    "by price",
    "by quantity",
    "by recovery",
)

# What each material did, and in the second line of it what that cost.
WORDS = {
    "drawn": "Drawn",
    "used": "Used",
    "installed": "Installed",
    "lost": "Lost",
    "returned": "Returned",
    "recovered": "Recovered",
    "adjusted": "Corrected",
    "stays": "Stays",
}
FURNISHED = {
    "delivered": "Delivered",
    "with_job": "With this job",
    "with_other_jobs": "Other jobs",
    "returned_to_owner": "Back to owner",
    "still_held": "Still held",
    "otherwise": "Otherwise",
}
GROUPS = {"By month": ("month",), "By crew": ("crew",), "By span and run": ("job", "run", "span")}


def print_cost_sheet(
    body: Json, *, is_metric: bool, printed_at: datetime, issued: Json | None = None
) -> bytes:
    """The sheet as PDF. With `issued` it is that one: `body` is its stored content, its number is on it."""
    job = body["job"]
    customer = f" for {body['customer_name']}" if body["customer_name"] else ""
    state = Job.State(job["state"]).label
    title = f"Cost of job {job['reference']}"
    paper = Paper(
        title=f"{title}, sheet {issued['number']} as issued" if issued else title,
        subtitle=f"{job['name']}{customer}; {state}; money in {body['currency']}",
        paper="a4" if is_metric else "letter",
        is_wide=True,
        printed_at=printed_at,
        foot=f"sheet {issued['number']}, hash {issued['hash']}" if issued else "",
    )
    if issued:
        paper.add_table(["As issued", ""], describe_issue(issued), widths=[2, 7])
    _add_summary(paper, body)
    _add_materials(paper, body)
    _add_words(paper, body)
    _add_furnished(paper, body)
    _add_lost(paper, body)
    _add_unaccounted(paper, body)
    _add_scrap(paper, body)
    _add_later_bills(paper, body)
    _add_sizes(paper, body)
    _add_groups(paper, body)
    tie = "The cost is what the job's places are worth in the book, to the last digit."
    paper.add_text(tie if body["agrees_with_book"] else "The book differs: run verify_ledger.")
    return paper.to_pdf()


def _add_summary(paper: Paper, body: Json) -> None:
    rows = [["Cost in the book", _money(body["cost"])]]
    if body["estimated_cost"] is not None:
        rows.insert(0, ["Estimate at approval", _money(body["estimated_cost"])])
    if _is_some(body["scrap_credit"]):
        rows.append(["Core sold, a by-product", _money(body["scrap_credit"], sign=-1)])
        rows.append(["Cost less core sold", _money(body["cost_less_scrap"])])
    if _is_some(body["late_differences"]):
        rows.append(["Bills that came after the job was closed", _money(body["late_differences"])])
        rows.append(["Cost as known now", _money(body["cost_as_known_now"])])
    heads = ["", body["currency"]]
    paper.add_table(heads, rows, widths=[5, 2], is_number=[False, True], has_total=len(rows) > 1)


def _add_materials(paper: Paper, body: Json) -> None:
    paper.add_heading("Materials")
    rows = []
    for line in body["lines"]:
        found = line["differences"] or {}
        amounts = ("estimated", "drawn", "returned", "recovered", "stays")
        money = (line["estimated_cost"], line["cost"], *map(found.get, ("price", "quantity", "recovery")))
        rows.append([line["name"], *(_some(line[word]) for word in amounts), *map(_money, money)])
    whole = [_money(body["estimated_cost"]), _money(body["cost"])]
    rows.append(["All materials", "", "", "", "", "", *whole, "", "", ""])
    _add_table(paper, MATERIAL_HEADINGS, rows, [5] + [3] * 10, has_total=True)


def _add_words(paper: Paper, body: Json) -> None:
    """Quantity and money of each word, one below the other; goods of others by quantity only."""
    rows = []
    for line in [*body["lines"], *body["furnished"]]:
        is_own = "values" in line
        if not any(_is_some(line[word]) for word in WORDS) and not (is_own and _is_some(line["cost"])):
            continue
        rows.append([_name(line, body), *(_some(line[word]) for word in WORDS)])
        if is_own:
            values = {**line["values"], "stays": line["cost"]}
            # Named again, since a page may end between the two.
            name = f"{_name(line, body)}, {body['currency']}"
            rows.append([name, *(_money(values[word]) if _is_some(values[word]) else "" for word in WORDS)])
    if rows:
        paper.add_heading("What became of it, in quantity and money")
        _add_table(paper, ["Material", *WORDS.values()], rows, [5] + [3] * len(WORDS))


def _add_furnished(paper: Paper, body: Json) -> None:
    """What owners brought and where it is now; an owner's other jobs are served from the same goods."""
    if not body["furnished"]:
        return
    paper.add_heading("Furnished by others")
    rows = [
        [_name(line, body), *(_some(line["reconciliation"][word]) for word in FURNISHED)]
        for line in body["furnished"]
        if line["reconciliation"]
    ]
    _add_table(paper, ["Material and owner", *FURNISHED.values()], rows, [5] + [2] * len(FURNISHED))
    paper.add_text("Delivered is the sum of what is with jobs, back, still held and otherwise gone.")


def _add_lost(paper: Paper, body: Json) -> None:
    rows = [
        [
            _name(line, body),
            Movement.Cause(cause).label,
            _some(quantity),
            _money(line["lost_values_by_cause"][cause]) if "lost_values_by_cause" in line else "",
        ]
        for line in [*body["lines"], *body["furnished"]]
        for cause, quantity in line["lost_by_cause"].items()
    ]
    if rows:
        paper.add_heading("Lost")
        heads = ["Material", "Cause", "Quantity", body["currency"]]
        _add_table(paper, heads, rows, [4, 3, 2, 2], words=2)


def _add_unaccounted(paper: Paper, body: Json) -> None:
    """What the balances of the job's closed days cannot explain, with its interval at 95 %, and its money."""
    if not body["unaccounted"]:
        return
    paper.add_heading("Fluid that cannot be accounted for, at what it cost when it was drawn")
    rows = [_tell_unaccounted("the job", row) for row in body["unaccounted"]]
    for row in body["unaccounted_parts"]:
        name = f"{row['by']} {row['name']}" if row["name"] else "no span"
        # What belongs to no span is told once, beside the spans.
        if row["name"] or row["by"] == "span":
            rows.append(_tell_unaccounted(name, row))
    heads = ["Fluid", "Of", "Amount", "At least (95 %)", "At most (95 %)"]
    money = [body["currency"], "at least", "at most"]
    _add_table(paper, [*heads, *money], rows, [4, 3, 2, 2, 2, 2, 2, 2], words=2)
    paper.add_text("It is part of the cost in the book and adds nothing to it.")


def _tell_unaccounted(name: str, row: Json) -> list[str]:
    fluid = row["name_of_material"]
    if row["interval"] is None:
        return [fluid, name, "not known", "", "", "", "", ""]
    amounts = map(_amount, (row["quantity"], *row["interval"]))
    money = (row["cost"], *row["cost_interval"]) if row["cost"] is not None else (None,) * 3
    return [fluid, name, *amounts, *map(_money, money)]


def _add_scrap(paper: Paper, body: Json) -> None:
    if not body["scrap"]:
        return
    paper.add_heading("Core sold")
    rows = [
        [
            f"Lot {row['lot']}",
            f"{row['sold_at'][:10]} to {row['buyer']}",
            f"{Decimal(row['weighed']['value']) / 1000:,.3f} kg",
            _money(row["credited"]) if not _is_some(row["owed"]) else "",
            f"{_money(row['owed'])} to {row['owner']['name']}" if _is_some(row["owed"]) else "",
        ]
        for row in body["scrap"]
    ]
    heads = ["Lot", "Sold", "Mass", "Taken off the cost", "Owed, beside the cost"]
    _add_table(paper, heads, rows, [2, 4, 2, 2, 3], words=2)


def _add_later_bills(paper: Paper, body: Json) -> None:
    """Each bill that price variance took for this job, with the entry that proves it."""
    rows = [
        [name_bill(row), row["name"], ", ".join(row["entries"]), _money(row["cost"])]
        for row in body["later_bills"]
    ]
    if rows:
        paper.add_heading("Bills that came after the job was closed, in price variance")
        heads = ["Bill", "Material", "Entry", body["currency"]]
        _add_table(paper, heads, rows, [6, 3, 5, 2], words=3)


def _add_sizes(paper: Paper, body: Json) -> None:
    rows = [
        [
            row["cable_size"] or "no size",
            _amount(row["length"]),
            _money(row["cost"]),
            f"{Decimal(row['cost_per_foot']['value']):.4f}" if row["cost_per_foot"] else "",
        ]
        for row in body["cable_sizes"]
    ]
    if rows:
        paper.add_heading("By cable size")
        _add_table(paper, ["Size", "Extracted", "Cost", "For a foot"], rows, [2, 2, 2, 2])


def _add_groups(paper: Paper, body: Json) -> None:
    """The materials of each part with what stays of them, and below them what the part cost."""
    named = list(list_groups(body))
    for title, kinds in GROUPS.items():
        groups = [(kind, name, group) for kind, name, group in named if kind in kinds]
        if not groups:
            continue
        paper.add_heading(title)
        rows = []
        for kind, name, group in groups:
            shown = (
                "the job itself" if kind == "job" else f"{kind} {name}" if kind in ("run", "span") else name
            )
            for place, line in enumerate(group["materials"]):
                cost = _money(line["cost"]) if "cost" in line else ""
                rows.append([shown if not place else "", line["name"], _some(line["stays"]), cost])
            if len(group["materials"]) > 1:
                rows.append(["", f"all of {shown}", "", _money(group["cost"])])
        whole = sum(Decimal(group["cost"]["value"]) for _kind, _name, group in groups)
        rows.append(["All", "", "", _money({"value": str(whole), "currency": body["currency"]})])
        _add_table(
            paper, ["", "Material", "Stays", body["currency"]], rows, [4, 4, 2, 2], words=2, has_total=True
        )


def _add_table(
    paper: Paper,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    *,
    words: int = 1,
    has_total: bool = False,
) -> None:
    """A table whose first columns are words and the others numbers."""
    is_number = [place >= words for place in range(len(heads))]
    paper.add_table(heads, rows, widths=widths, is_number=is_number, has_total=has_total)


def _name(line: Json, body: Json) -> str:
    if "values" in line:
        return str(line["name"])
    owners = {owner["code"]: owner["name"] for owner in body["owners"]}
    return f"{line['name']} ({owners[line['owner']]})"


def _is_some(amount: Json | None) -> bool:
    return amount is not None and Decimal(amount["value"]) != 0


def _some(amount: Json | None) -> str:
    return _amount(amount) if amount is not None and _is_some(amount) else ""


def _amount(amount: Json) -> str:
    """As finely as paper needs it; the exact figure is in the sheet's other forms."""
    value = round(Decimal(amount["value"]), 2)
    return format_amount(value, amount["unit"]).removesuffix(" each")


def _money(amount: Json | None, *, sign: int = 1) -> str:
    if amount is None:
        return ""
    value, currency = Decimal(amount["value"]), amount["currency"]
    millionths = to_money_millionths(abs(value)) * (sign if value >= 0 else -sign)
    return format_money(millionths, currency).removesuffix(f" {currency}")
