"""The replay of the restock policy for people, and as JSON."""

from typing import Any

from rich.console import Group
from rich.table import Table
from rich.text import Text

from api.wire.amounts import money_json
from inventory.money import format_money
from inventory.queries.policy_replay import PLAIN_FACTOR, ReplayedClass, ReplayedRule, ReplayReport

AIMS = {"cycle_service": "not short", "fill_rate": "filled", "cost": "filled, least cost"}
FIRST_COLUMN = 21
# One odd material decides where there are fewer.
FEWEST_MATERIALS = 50
COLUMNS = {"filled": 6, "cycles": 6, "days met": 8, "mean stock": 13, "orders": 6, "cost": 12}


def lay_out_replay(report: ReplayReport, currency: str) -> Group:
    """Class by class: the policy, below it the plain rule, and that with the service of the policy."""
    head = Text(
        f"The policy over the {report.judged_weeks} weeks before {report.until:%a %d %b %Y}, day by day",
        style="bold",
    )
    if not report.classes:
        return Group(head, Text("\nNothing was used in the weeks to learn from."))
    parts = [
        _lay_out_class(row, currency, with_titles=not number) for number, row in enumerate(report.classes)
    ]
    found = Text("\n".join(_verdict(row) for row in report.classes))
    return Group(head, Text(), *parts, found, Text("\n" + " ".join(_notes(report)), style="dim"))


def _lay_out_class(row: ReplayedClass, currency: str, *, with_titles: bool) -> Group:
    """The three rules of a class, in columns of fixed width so that the classes stand below each other."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), show_header=with_titles)
    table.add_column("", width=FIRST_COLUMN)
    for title, width in COLUMNS.items():
        table.add_column(title, justify="right", min_width=width, no_wrap=True)
    table.add_row("  policy", *_cells(row.policy, currency))
    table.add_row(f"  plain, {PLAIN_FACTOR:g} sd", *_cells(row.plain, currency))
    table.add_row(f"  same fill, {row.equal_factor:.2f} sd", *_cells(row.equal, currency), style="dim")
    return Group(Text(_title(row), style="bold"), table, Text())


def _title(row: ReplayedClass) -> str:
    return f"{row.demand_class} ({row.materials}), aim {row.target:.1%} {AIMS[row.target_kind]}"


def _cells(rule: ReplayedRule, currency: str) -> tuple[str, ...]:
    return (
        f"{rule.fill_rate:.1%}",
        "-" if rule.cycle_service is None else f"{rule.cycle_service:.1%}",
        f"{rule.days_met:.1%}",
        format_money(rule.stock_value, currency),
        str(rule.orders),
        format_money(rule.cost, currency),
    )


def _verdict(row: ReplayedClass) -> str:
    said = _compare(row)
    return f"{said} So few materials tell little." if row.materials < FEWEST_MATERIALS else said


def _compare(row: ReplayedClass) -> str:
    ratio = row.stock_ratio
    name = f"{row.demand_class}, {row.target:.0%} {AIMS[row.target_kind]}"
    if ratio is None:
        return f"{name}: the plain rule fills as much without any stock."
    if abs(ratio - 1) < 0.005:
        return f"{name}: as much stock as the plain rule needs to fill as much."
    less = f"{abs(1 - ratio):.0%} {'less' if ratio < 1 else 'more'}"
    return f"{name}: {less} stock than the plain rule needs to fill as much."


def _notes(report: ReplayReport) -> list[str]:
    notes = [
        f"Learnt from the {report.learnt_weeks} weeks before and from each week as it passed, as restocking "
        "learns. Filled: of what was wanted, by its cost. Cycles: from delivery to delivery without lack. "
        f"Plain: reorder at mean demand over lead time and review plus {PLAIN_FACTOR:g} deviations (sd); "
        "same fill: with the factor that fills as much as the policy did, which nobody could have known.",
        f"Orders take as long as the company's own did at the time ({report.with_deliveries} of "
        f"{report.materials} materials), else as stated. What suppliers ask and what policies aim at is "
        "today's.",
    ]
    if report.recorded_later:
        notes.append(
            f"{report.recorded_later:.0%} of the use was recorded after the last day and counts as known "
            "when it happened."
        )
    if report.without_use:
        notes.append(f"Without use in the weeks to learn from, and left out: {report.without_use}.")
    return notes


def replay_json(report: ReplayReport, currency: str) -> dict[str, Any]:
    """The same for programs."""

    def rule(found: ReplayedRule) -> dict[str, Any]:
        return {
            "fill_rate": round(found.fill_rate, 6),
            "cycle_service": None if found.cycle_service is None else round(found.cycle_service, 6),
            "days_met": round(found.days_met, 6),
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
                "target_kind": row.target_kind,
                "target": round(row.target, 6),
                "materials": row.materials,
                "policy": rule(row.policy),
                "plain": {"safety_factor": PLAIN_FACTOR, **rule(row.plain)},
                "plain_with_equal_fill": {
                    "safety_factor": round(row.equal_factor, 6),
                    **rule(row.equal),
                },
                "stock_ratio_at_equal_fill": None if row.stock_ratio is None else round(row.stock_ratio, 6),
            }
            for row in report.classes
        ],
        "materials_judged": report.materials,
        "materials_with_deliveries": report.with_deliveries,
        "share_recorded_later": report.recorded_later,
        "materials_without_use": report.without_use,
    }
