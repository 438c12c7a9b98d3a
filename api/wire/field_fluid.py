"""A phone's fluid: what was told to go in and to come back, with the uncertainties that the rules weigh."""

from datetime import date
from typing import Any

from inventory.models import Material
from inventory.queries.instruments import TrustedInstrument
from inventory.services.measuring import (
    USUAL_METER_CLASS,
    USUAL_METER_STEP_M3,
    unknown_temperature_share,
)
from inventory.units import MILLION, conversion_factor
from jobs.models import CrewDay, FluidCaught, Run, SpanAttempt
from jobs.queries.field_days import FieldDay
from jobs.queries.field_fluid import FluidState
from jobs.services.rules.fluid_facts import TOLD_SHARE
from jobs.services.rules.reading import Growth, find_growth

Json = dict[str, Any]
LITRES_PER_M3 = 1000.0


def fluid_state_json(state: FluidState) -> Json:
    """Fluids, vessels and what was told of them so far; volumes in litres."""
    growth = find_growth(
        (row.report_id, row.container_id, row.moment, row.amount, row.standard_uncertainty, row.instrument_id)
        for row in state.readings
    )
    tags = {row.instrument_id: row.instrument.tag for row in state.readings if row.instrument is not None}
    back = {row.recovered_from_id: row for row in reversed(state.fluids) if row.recovered_from_id}
    return {
        "reference_c": state.reference_temperature_c,
        "usual_meter": {
            "step_l": USUAL_METER_STEP_M3 * LITRES_PER_M3,
            "percent": USUAL_METER_CLASS,
            "drift": 0.0,
            "trust": 1.0,
        },
        "fluids": {row.code: _fluid(row, state, back.get(row.pk)) for row in state.fluids},
        "vessels": {
            row.label: {"drawn": _code(row.drawn), "caught": _code(row.caught)} for row in state.vessels
        },
        "injected": [_injected(row) for row in state.injected],
        "caught": [_caught(row, growth.get((row.report_id, row.container_id)), tags) for row in state.caught],
    }


def fluid_of_day_json(state: FluidState, day: FieldDay) -> Json:
    """What a day's crew injects where it does not say, and the meters as far as they are trusted that day."""
    return {
        "usual_fluid": _code(state.usual[day.crew_day.vehicle_id]),
        "meters": _meters(state, day.crew_day.date),
    }


def _meters(state: FluidState, day: date) -> Json:
    return {row.instrument.tag: _meter(row) for row in state.meters.get(day, [])}


def _meter(row: TrustedInstrument) -> Json:
    device = row.instrument
    step = USUAL_METER_STEP_M3 * LITRES_PER_M3
    if device.resolution is not None:
        step = device.resolution * float(conversion_factor(device.unit, "L"))
    percent = USUAL_METER_CLASS if device.accuracy_class is None else device.accuracy_class
    return {"step_l": step, "percent": percent, "drift": row.drift_fraction, "trust": row.trust_factor}


def _fluid(row: Material, state: FluidState, back: Material | None) -> Json:
    table = sorted((float(point[0]), float(point[1])) for point in row.density_table)
    share = unknown_temperature_share(table, state.reference_temperature_c)
    return {"table": table, "unknown_share": share, "comes_back_as": _code(back)}


def _code(row: Material | None) -> str | None:
    return None if row is None else row.code


def _day(day: CrewDay) -> Json:
    return {"crew": day.crew.code, "date": day.date.isoformat()}


def _work(run: Run | None) -> Json | None:
    return None if run is None else {"job": run.job.reference, "name": run.name}


def _injected(row: SpanAttempt) -> Json:
    unit = row.fluid.stock_unit if row.fluid is not None else "L"
    return {
        **_day(row.report.crew_day),
        "run": _work(row.span.run),
        "meter": row.meter.tag if row.meter is not None else "",
        **_amount(row.injected, row.injected_uncertainty, unit),
    }


def _caught(row: FluidCaught, grown: Growth | None, tags: dict[int | None, str]) -> Json:
    amount, uncertainty, scale = row.amount, row.standard_uncertainty, ""
    if amount is None and grown is not None:
        amount, uncertainty, scale = grown.amount, grown.uncertainty, tags.get(grown.instrument_id, "")
    runs = {run.pk: run for run in (row.run, *(span.run for span in row.spans.all())) if run is not None}
    return {
        **_day(row.report.crew_day),
        "kind": row.kind,
        "runs": [_work(run) for run in runs.values()],
        "scale": scale,
        **_amount(amount, uncertainty, row.material.stock_unit),
    }


def _amount(amount: int | None, uncertainty: float | None, unit: str) -> Json:
    """Litres and their standard uncertainty; nothing where nobody knows the amount."""
    if amount is None:
        return {"litres": None, "uncertainty_l": None}
    per_unit = float(conversion_factor(unit, "L")) / MILLION
    own = TOLD_SHARE * amount if uncertainty is None else uncertainty
    return {"litres": amount * per_unit, "uncertainty_l": own * per_unit}
