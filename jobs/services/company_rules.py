"""Setting what the company allows itself before somebody is told."""

from datetime import datetime, time
from math import isfinite
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor
from inventory.services.sealing import record_event
from jobs.models import CompanyRules

RULES = UUID("5a2f4c1e-0c7b-4a5e-9a6d-6a2a1f3d7b10")
MOST_LITRES = 1_000_000.0
MOST_FACTOR = 10.0


@transaction.atomic
def set_company_rules(
    *,
    by: Actor,
    occurred_at: datetime,
    unaccounted_limit_l: float | None,
    unaccounted_limit_share: float | None,
    report_cut_off_time: time | None,
    recovered_coverage_factor: float,
    mark_tolerance_fraction: float,
) -> CompanyRules:
    """Set all of the company's limits; the same again changes nothing.

    None sets no limit: nothing is then compared, and who reads it is told so. What is noted for others to
    hear of says who changed what.
    """
    values: dict[str, float | time | None] = {
        "unaccounted_limit_l": unaccounted_limit_l,
        "unaccounted_limit_share": unaccounted_limit_share,
        "report_cut_off_time": report_cut_off_time,
        "recovered_coverage_factor": recovered_coverage_factor,
        "mark_tolerance_fraction": mark_tolerance_fraction,
    }
    _check(unaccounted_limit_l, "/unaccounted_limit", MOST_LITRES)
    _check(unaccounted_limit_share, "/unaccounted_limit_share", 1.0)
    _check(recovered_coverage_factor, "/recovered_coverage_factor", MOST_FACTOR)
    _check(mark_tolerance_fraction, "/mark_tolerance_fraction", 1.0)
    standing = CompanyRules.objects.select_for_update().filter(pk=1).first() or CompanyRules(pk=1)
    changed = {name: value for name, value in values.items() if getattr(standing, name) != value}
    if changed or standing._state.adding:
        for name, value in values.items():
            setattr(standing, name, value)
        standing.save()
        _tell(changed, by=by, at=occurred_at)
    return standing


def _check(value: float | None, pointer: str, most: float) -> None:
    if value is not None and not (isfinite(value) and 0 <= value <= most):
        message = f"must lie between nothing and {most:,.0f}"
        raise BadInput.of([Fault(pointer, f"{value:g}", message)])


def _tell(changed: dict[str, float | time | None], *, by: Actor, at: datetime) -> None:
    if not changed:
        return
    told = {name: value.isoformat() if isinstance(value, time) else value for name, value in changed.items()}
    record_event(
        id=uuid5(RULES, f"{by.pk}:{at.isoformat()}:{sorted(told.items())}"),
        kind="company_rules_changed",
        occurred_at=at,
        body={"by": by.code, "changed": told},
    )
