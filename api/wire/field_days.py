"""A crew's days as the phone keeps them: all that a page needs with no network, in JSON's own types."""

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from api.wire.amounts import quantity_json
from api.wire.field_fluid import fluid_of_day_json
from api.wire.field_state import field_state_json, told_of_day_json
from api.wire.pull_sheets import pull_sheet_body
from inventory.models import Container, Holding, Material, Place
from inventory.short_codes import make_short_code
from jobs.models import CrewDayStep, PressureLimit
from jobs.queries.field_days import FieldDay, Surroundings
from jobs.queries.field_state import FieldState
from jobs.queries.rules import translate_rule_book

Json = dict[str, Any]
FACT_WORDS = (
    gettext_noop("Span {name}"),
    gettext_noop("Run {name}"),
    gettext_noop("Crew {name} on {date}"),
    gettext_noop("not told"),
    gettext_noop("very much"),
    gettext_noop("yes"),
    gettext_noop("no"),
)


def field_pack(
    days: list[FieldDay],
    around: Surroundings,
    limits: dict[str, PressureLimit],
    state: FieldState,
    *,
    system: str,
    currency: str,
) -> Json:
    """The days, the trade's rules and all they ask for, and in which units this person reads."""
    return {
        "currency": currency,
        "trucks": [_named(place) for place in around.trucks],
        "sites": [_named(place) for place in around.sites],
        "left_at_sites": [
            {
                "label": row.label,
                "site": row.place.name if row.place else "",
                "short_code": make_short_code(row.pk),
            }
            for row in around.left_at_sites
        ],
        "suppliers": [_named(place) for place in around.suppliers],
        "materials": [
            {
                "code": row.code,
                "name": row.name,
                "unit": row.stock_unit,
                "is_fluid": row.kind == Material.Kind.FLUID,
            }
            for row in around.materials
        ],
        "awaited": [
            {
                "id": str(row.uuid),
                "source": row.source.name,
                "target": row.target.code,
                "at": row.occurred_at.isoformat(),
                "note": row.note,
            }
            for row in around.awaited
        ],
        "system": system,
        # What stands for facts in the sentences of rules.
        "words": {text: _(text) for text in FACT_WORDS},
        "rules": translate_rule_book(),
        "limits_kpa": {purpose: limit.limit_kpa for purpose, limit in limits.items()},
        "state": field_state_json(state),
        "days": [
            {
                **_day(day),
                "told": told_of_day_json(state.told[day.crew_day.pk]),
                "fluid": fluid_of_day_json(state.fluid, day),
            }
            for day in days
        ],
    }


def _named(place: Place) -> Json:
    return {"code": place.code, "name": place.name}


def _day(day: FieldDay) -> Json:
    labels = {pick.container for line in day.sheet.lines for pick in line.picks if pick.container}
    codes = dict(Container.objects.filter(label__in=labels).values_list("label", "pk")) if labels else {}
    sheet = pull_sheet_body(day.sheet)
    return {
        **sheet,
        "lines": [{**line, "group_title": _(line["group"])} for line in sheet["lines"]],
        "vehicle_code": day.crew_day.vehicle.code,
        "work": [_step(step, day) for step in day.steps],
        "aboard": [_vessel(row) for row in day.aboard],
        "short_codes": {label: make_short_code(key) for label, key in sorted(codes.items())},
    }


def _step(step: CrewDayStep, day: FieldDay) -> Json:
    work = step.span or step.run
    assert work is not None
    shown = next(row for row in day.sheet.steps if row.position == step.position)
    return {
        "kind": step.kind,
        "position": step.position,
        "job": work.job.reference,
        "name": work.name,
        "title": shown.title,
        "detail": shown.detail,
        "is_stopped": shown.is_stopped,
        "run": step.span.run.name if step.span is not None and step.span.run is not None else None,
    }


def _vessel(row: Holding) -> Json:
    container = row.container
    assert container is not None
    capacity = container.capacity_for(row.material)
    return {
        "label": container.label,
        "short_code": make_short_code(container.pk),
        "kind": container.kind,
        "material": row.material.name,
        "is_fluid": row.material.kind == row.material.Kind.FLUID,
        "quantity": quantity_json(row.quantity, row.material.stock_unit),
        "capacity": quantity_json(capacity, row.material.stock_unit) if capacity else None,
    }
