"""What the phone's rules have to know beside a report, in JSON's own types; `field_facts.js` reads it."""

from datetime import datetime
from typing import Any

from api.wire.field_fluid import fluid_state_json
from inventory.units import MILLION, UNITS, conversion_factor
from jobs.models import Run, Span
from jobs.queries.field_state import FieldState, FittingState, ReelState, RunState, ToldOfDay
from jobs.queries.projectiles import UM_PER_M

Json = dict[str, Any]
# The units in which rules compare, by dimension.
COMPARED_IN = {"volume": "L", "length": "m", "pressure": "kPa"}


def field_state_json(state: FieldState) -> Json:
    """The state of runs, reels and fittings, and what the company compares with."""
    policy = state.fitting_policy
    return {
        "factors": {
            unit.code: float(conversion_factor(unit.code, COMPARED_IN[unit.dimension]))
            for unit in UNITS.values()
            if unit.dimension in COMPARED_IN
        },
        "mark_tolerance": state.rules.mark_tolerance_fraction,
        "coverage_factor": state.rules.recovered_coverage_factor,
        "runs": [_run(row) for row in state.runs],
        "reels": {row.reel.label: _reel(row) for row in state.reels},
        "fittings": {row.fitting.tag: _fitting(row) for row in state.fittings},
        "fluid": fluid_state_json(state.fluid),
        "fitting_limits": {
            "most_uses": policy.most_uses,
            "longest_age_days": policy.longest_age_days,
            "inspection_holds_days": policy.inspection_holds_days,
        },
    }


def told_of_day_json(told: ToldOfDay) -> Json:
    """What a day's reports have told before, of which another report may tell again."""
    return {
        "fired": [
            {
                **_work(row.run),
                "fired": row.fired,
                "retrieved": row.retrieved,
                "stuck_at_m": None if row.stuck_at_um is None else row.stuck_at_um / UM_PER_M,
                "is_clean": row.is_clean,
            }
            for row in told.fired
        ],
        "metered": [
            {
                **_work(row.span),
                "meter": row.meter.tag if row.meter is not None else "",
                "stretch": [
                    (row.meter_start or 0) / MILLION,
                    (row.meter_end or 0) / MILLION,
                    row.meter_unit,
                ],
            }
            for row in told.metered
        ],
    }


def _work(work: Run | Span) -> Json:
    return {"job": work.job.reference, "name": work.name}


def _run(row: RunState) -> Json:
    count = row.count
    return {
        **_work(row.run),
        "is_clean": row.is_clean,
        "count": {
            "fired": count.fired,
            "retrieved": count.retrieved,
            "inside_at_most": count.inside_at_most,
            "surplus": count.surplus,
            "is_counted": count.is_counted,
            "is_sure": count.is_sure,
            "stuck_at_m": None if count.stuck_at_um is None else count.stuck_at_um / UM_PER_M,
        },
    }


def _reel(row: ReelState) -> Json:
    return {"held_m": row.held_m, "direction": row.direction, "told": row.told}


def _fitting(row: FittingState) -> Json:
    fitting, inspection = row.fitting, row.inspection
    return {
        "made_date": fitting.made_date.isoformat(),
        "uses": fitting.uses,
        "withdrawn_at": _moment(fitting.withdrawn_at),
        "inspected_at": _moment(inspection.inspected_at) if inspection is not None else None,
        "is_passed": inspection is not None and inspection.is_passed,
        "rigged_at": _moment(row.rigged_at),
    }


def _moment(at: datetime | None) -> str | None:
    return at.isoformat() if at is not None else None
