"""What follows once a stop has ended: fittings and work are free again."""

from collections.abc import Iterable

from inventory.services.tagged_fittings import hold_fitting
from jobs.models import RuleFinding
from jobs.queries.safety import open_stops
from jobs.services.needs import find_days_ahead, write_needs


def free_what_was_stopped(findings: Iterable[RuleFinding]) -> None:
    """Give fittings free that nothing else holds, and tell inventory what the freed work needs again."""
    stops = [row for row in findings if row.severity == RuleFinding.Severity.STOP]
    if not stops:
        return
    for row in stops:
        if row.fitting is not None and not open_stops().filter(fitting=row.fitting).exists():
            hold_fitting(tag=row.fitting.tag, is_held=False)
    write_needs(
        find_days_ahead(
            span_keys=[row.span_id for row in stops if row.span_id is not None],
            run_keys=[row.run_id for row in stops if row.run_id is not None],
        )
    )
