"""The replay of the restock policy for people, and as JSON."""

from typing import Any

from rich.console import Group
from rich.table import Table
from rich.text import Text

from api.wire.amounts import money_json
from inventory.money import format_money
from inventory.queries.policy_replay import ReplayedRule, ReplayReport


def lay_out_replay(report: ReplayReport, currency: str) -> Group:
    """Class by class: the policy, and below it the plain rule."""
    head = Text(
        f"The policy over the {report.judged_weeks} weeks before {report.until:%a %d %b %Y}", style="bold"
    )
    about = Text(
        f"learnt from the {report.learnt_weeks} weeks before them and from each week as it passed, as "
        "restocking learns; each material aims at what its own policy says, or at "
        f"{report.target:.0%} chance of not running short. The plain rule reorders at mean demand over lead "
        "time and review plus 1.645 deviations.",
        style="dim",
    )
    if not report.classes:
        return Group(head, about, Text("\nNothing was used in the weeks to learn from."))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title, side in (("use", "left"), ("materials", "right"), ("aims at", "left"), ("rule", "left")):
        table.add_column(title, justify=side)  # type: ignore[arg-type]
    for title in ("filled", "weeks met", "mean stock", "orders", "cost"):
        table.add_column(title, justify="right")
    for row in report.classes:
        aim = f"{row.target:.1%} {'filled' if row.is_fill_rate else 'not short'}"
        first = (row.demand_class, str(row.materials), aim)
        for name, rule in (("policy", row.policy), ("plain", row.plain)):
            table.add_row(
                *(first if name == "policy" else ("", "", "")),
                name,
                f"{rule.fill_rate:.1%}",
                f"{rule.weeks_met:.1%}",
                format_money(rule.stock_value, currency),
                str(rule.orders),
                format_money(rule.cost, currency),
            )
    apart = f"{report.without_use} materials had no use in the weeks to learn from and are left out."
    closing = Text(f"\n{apart}" if report.without_use else "", style="dim")
    return Group(head, about, Text(), table, closing)


def replay_json(report: ReplayReport, currency: str) -> dict[str, Any]:
    """The same for programs."""

    def rule(found: ReplayedRule) -> dict[str, Any]:
        return {
            "fill_rate": round(found.fill_rate, 6),
            "weeks_met": round(found.weeks_met, 6),
            "mean_stock": money_json(found.stock_value, currency),
            "orders": found.orders,
            "cost": money_json(found.cost, currency),
        }

    return {
        "until": report.until.isoformat(),
        "learnt_weeks": report.learnt_weeks,
        "judged_weeks": report.judged_weeks,
        "target": report.target,
        "classes": [
            {
                "demand_class": row.demand_class,
                "target_kind": "fill_rate" if row.is_fill_rate else "cycle_service",
                "target": round(row.target, 6),
                "materials": row.materials,
                "policy": rule(row.policy),
                "plain": rule(row.plain),
            }
            for row in report.classes
        ],
        "materials_without_use": report.without_use,
    }
