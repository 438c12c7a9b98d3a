"""Pressures, findings, incidents, claims and tagged fittings, as they are sent and as they are answered."""

from datetime import date
from typing import Any

from api.wire.amounts import quantity_json
from api.wire.answers import Writer, named_json, place_name_json
from api.wire.calculations.fields import Choice, Field, Flag, Limits, Record, Schema, Whole
from api.wire.entry_requests import MATERIAL, PLACE
from api.wire.filters import Filter, by_flag, by_text, by_word
from api.wire.input_fields import AmountField, DayField, MomentField, NoteField, ReferenceField, UuidField
from api.wire.moments import moment_json
from api.wire.pages import Order
from api.wire.schemas import (
    DAY,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    UUID,
    WHOLE,
    listing,
    nullable,
    of,
    shape,
    words,
)
from inventory.models import FittingInspection, Material, Movement, TaggedFitting
from inventory.units import Amount, convert
from jobs.models import Incident, PressureLimit, RuleFinding
from jobs.queries.claims import ClaimLine, ClaimSheet
from jobs.queries.rules import get_rule_book, rules_by_code

Json = dict[str, Any]
BY_KEY, BY_TAG = Order("id", is_number=True), Order("tag")
_MAYBE_AMOUNT = AmountField(default=None, may_be_null=True)
_NAME = NoteField(longest=160, default="")

LIMIT = Record(
    fields={
        "id": UuidField(),
        "occurred_at": MomentField(),
        "purpose": Choice(options=tuple(PressureLimit.Purpose.values)),
        "pressure": AmountField(),
        "weakest_part": NoteField(longest=300),
    }
)
WITHDRAWAL = Record(
    fields={"occurred_at": MomentField(), "purpose": Choice(options=tuple(PressureLimit.Purpose.values))}
)
LIFT = Record(fields={"occurred_at": MomentField(), "reason": NoteField()})
INCIDENT = Record(
    fields={
        "id": UuidField(),
        "occurred_at": MomentField(),
        "kind": Choice(options=tuple(Incident.Kind.values)),
        "job": _NAME,
        "run": _NAME,
        "span": _NAME,
        "access_point": _NAME,
        "material": ReferenceField(noun="material", default=None, may_be_null=True),
        "amount": _MAYBE_AMOUNT,
        "amount_low": _MAYBE_AMOUNT,
        "amount_high": _MAYBE_AMOUNT,
        "is_contained": Flag(default=None, may_be_null=True),
        "cause": Choice(options=tuple(Movement.Cause.values), default=""),
        "liable_party": ReferenceField(noun="party", default=None, may_be_null=True),
        "note": NoteField(default="", longest=2000),
    }
)
TOLD = Record(
    fields={"at": MomentField(), "who": NoteField(longest=200), "how": NoteField(longest=200, default="")}
)
CLOSING = Record(fields={"occurred_at": MomentField(), "note": NoteField()})
FITTING: dict[str, Field] = {
    "tag": NoteField(longest=40),
    "material": MATERIAL,
    "place": PLACE,
    "made_by": NoteField(longest=200),
    "checked_by": NoteField(longest=200),
    "made_date": DayField(),
    "uses": Whole(limits=Limits(least=0, most=100_000), default=0),
}
FITTING_REQUEST = Record(fields=FITTING)
INSPECTION = Record(
    fields={
        "id": UuidField(),
        "occurred_at": MomentField(),
        "is_passed": Flag(),
        "note": NoteField(default="", longest=300),
    }
)
FITTING_WITHDRAWAL = Record(fields={"occurred_at": MomentField(), "reason": NoteField(longest=300)})
FITTING_APPROVAL = Record(fields={"pressure": AmountField()})

FINDING_FILTERS: dict[str, Filter] = {
    "rule": by_word("rule", sorted(rules_by_code()), "code of the rule"),
    "severity": by_word("severity", list(RuleFinding.Severity.values), "a warning or a stop"),
    "crew": by_text("crew_day__crew__code", "code of the crew"),
    "job": by_text("run__job__reference", "reference of the job of its run"),
}
INCIDENT_FILTERS: dict[str, Filter] = {
    "kind": by_word("kind", list(Incident.Kind.values), "kind of incident"),
    "job": by_text("job__reference", "reference of the job"),
}
LIMIT_FILTERS: dict[str, Filter] = {
    "purpose": by_word("purpose", list(PressureLimit.Purpose.values), "what the pressure is for"),
}
FITTING_FILTERS: dict[str, Filter] = {
    "state": by_word("state", list(TaggedFitting.State.values), "whether it is in service"),
    "place": by_text("place__code", "code of the place where it lies"),
    "is_held": by_flag("is_held", "whether safety holds it back"),
}
ENDINGS = ("open", "lifted", "settled", "overtaken")
COMPONENTS: dict[str, Schema] = {
    "PressureLimit": shape(
        id=UUID,
        purpose=words(PressureLimit.Purpose),
        pressure=of("Quantity"),
        weakest_part=TEXT,
        approved_by=of("Named"),
        approved_at=MOMENT,
        withdrawn_at=nullable(MOMENT),
        withdrawn_by=nullable(of("Named")),
    ),
    "Finding": shape(
        id=UUID,
        rule=TEXT,
        name=TEXT,
        severity=words(RuleFinding.Severity),
        state={"type": "string", "enum": list(ENDINGS)},
        sentence=TEXT,
        explanation=TEXT,
        caution=TEXT,
        lifted_by_roles=listing(TEXT),
        report=nullable(UUID),
        crew=nullable(TEXT),
        date=nullable(DAY),
        job=nullable(TEXT),
        span=nullable(TEXT),
        run=nullable(TEXT),
        container=nullable(TEXT),
        fitting=nullable(TEXT),
        caused_by=of("Named"),
        found_at=MOMENT,
        lifted_at=nullable(MOMENT),
        lifted_by=nullable(of("Named")),
        lift_reason=TEXT,
    ),
    "Told": shape(who=TEXT, at=MOMENT, how=TEXT),
    "Incident": shape(
        id=UUID,
        kind=words(Incident.Kind),
        occurred_at=MOMENT,
        recorded_at=MOMENT,
        by=of("Named"),
        report=nullable(UUID),
        crew=nullable(TEXT),
        date=nullable(DAY),
        job=nullable(TEXT),
        span=nullable(TEXT),
        run=nullable(TEXT),
        access_point=nullable(TEXT),
        material=nullable(of("Named")),
        amount=nullable(of("Quantity")),
        amount_low=nullable(of("Quantity")),
        amount_high=nullable(of("Quantity")),
        is_contained=nullable(FLAG),
        told=listing(of("Told")),
        cause=words(Movement.Cause, with_none=True),
        liable_party=nullable(of("Named")),
        note=TEXT,
        closed_at=nullable(MOMENT),
        closed_by=nullable(of("Named")),
        closing_note=TEXT,
    ),
    "ClaimLine": shape(
        occurred_at=MOMENT,
        report=UUID,
        incident=nullable(UUID),
        job=nullable(TEXT),
        span=nullable(TEXT),
        run=nullable(TEXT),
        material=of("Named"),
        amount=nullable(of("Quantity")),
        cause=words(Movement.Cause),
        note=TEXT,
        cost=nullable(of("Money")),
    ),
    "ClaimSheet": shape(
        party=of("Named"), lines=listing(of("ClaimLine")), cost=nullable(of("Money")), unpriced=WHOLE
    ),
    "TaggedFitting": shape(
        tag=TEXT,
        material=of("Named"),
        recipe=nullable(TEXT),
        place=of("PlaceName"),
        made_by=TEXT,
        checked_by=TEXT,
        made_date=DAY,
        approved_pressure_kpa=nullable(NUMBER),
        approved_by=nullable(of("Named")),
        state=words(TaggedFitting.State),
        is_held=FLAG,
        uses=WHOLE,
        withdrawn_at=nullable(MOMENT),
        withdrawn_why=TEXT,
    ),
    "FittingInspection": shape(
        id=UUID, tag=TEXT, inspected_at=MOMENT, by=of("Named"), is_passed=FLAG, note=TEXT
    ),
    "RuleBook": {
        "type": "object",
        "description": "The rules of the trade as data, as the phone evaluates them.",
        "properties": {name: {} for name in ("version", "roles", "units", "subjects", "rules")},
    },
}


def request_schemas() -> dict[str, Schema]:
    """What is sent, for the published schema."""
    return {
        "PressureLimitRequest": LIMIT.schema(),
        "PressureLimitWithdrawal": WITHDRAWAL.schema(),
        "LiftRequest": LIFT.schema(),
        "IncidentRequest": INCIDENT.schema(),
        "ToldRequest": TOLD.schema(),
        "IncidentClosing": CLOSING.schema(),
        "TaggedFittingRequest": FITTING_REQUEST.schema(),
        "FittingInspectionRequest": INSPECTION.schema(),
        "FittingWithdrawal": FITTING_WITHDRAWAL.schema(),
        "FittingApproval": FITTING_APPROVAL.schema(),
    }


def rule_book_json() -> Json:
    return get_rule_book()


def limit_json(row: PressureLimit) -> Json:
    return {
        "id": str(row.uuid),
        "purpose": row.purpose,
        "pressure": {"value": row.entered_value, "unit": row.entered_unit},
        "weakest_part": row.weakest_part,
        "approved_by": named_json(row.approved_by),
        "approved_at": moment_json(row.approved_at),
        "withdrawn_at": moment_json(row.withdrawn_at),
        "withdrawn_by": named_json(row.withdrawn_by) if row.withdrawn_by else None,
    }


def finding_json(row: RuleFinding) -> Json:
    """A finding with its rule as it is read today; a rule that is gone leaves its sentence."""
    rule = rules_by_code().get(row.rule)
    job = row.span.job if row.span else row.run.job if row.run else None
    return {
        "id": str(row.uuid),
        "rule": row.rule,
        "name": rule.name if rule else row.rule,
        "severity": row.severity,
        "state": _state(row),
        "sentence": row.sentence,
        "explanation": rule.explanation if rule else "",
        "caution": rule.caution if rule else "",
        "lifted_by_roles": list(rule.lifted_by) if rule else ["safety"],
        "report": str(row.report.uuid) if row.report else None,
        **_day_json(row.crew_day),
        "job": job.reference if job else None,
        "span": row.span.name if row.span else None,
        "run": row.run.name if row.run else None,
        "container": row.container.label if row.container else None,
        "fitting": row.fitting.tag if row.fitting else row.facts.get("tag"),
        "caused_by": named_json(row.caused_by),
        "found_at": moment_json(row.found_at),
        "lifted_at": moment_json(row.lifted_at),
        "lifted_by": named_json(row.lifted_by) if row.lifted_by else None,
        "lift_reason": row.lift_reason,
    }


def _state(row: RuleFinding) -> str:
    if row.lifted_at is not None:
        return "lifted"
    if row.settled_at is not None:
        return "settled"
    return "open" if row.overtaken_at is None else "overtaken"


def _day_json(day: Any) -> Json:
    return {"crew": day.crew.code if day else None, "date": day.date.isoformat() if day else None}


def incident_json(row: Incident) -> Json:
    return {
        "id": str(row.uuid),
        "kind": row.kind,
        "occurred_at": moment_json(row.occurred_at),
        "recorded_at": moment_json(row.recorded_at),
        "by": named_json(row.by),
        "report": str(row.report.uuid) if row.report else None,
        **_day_json(row.crew_day),
        "job": row.job.reference if row.job else None,
        "span": row.span.name if row.span else None,
        "run": row.run.name if row.run else None,
        "access_point": row.access_point.name if row.access_point else None,
        "material": named_json(row.material) if row.material else None,
        **{name: _amount_json(getattr(row, name), row.material) for name in AMOUNTS},
        "is_contained": row.is_contained,
        "told": row.told,
        "cause": row.cause,
        "liable_party": named_json(row.liable_party) if row.liable_party else None,
        "note": row.note,
        "closed_at": moment_json(row.closed_at),
        "closed_by": named_json(row.closed_by) if row.closed_by else None,
        "closing_note": row.closing_note,
    }


AMOUNTS = ("amount", "amount_low", "amount_high")


def _amount_json(millionths: int | None, material: Material | None) -> Json | None:
    return quantity_json(millionths, material.stock_unit) if millionths is not None and material else None


def claim_json(sheet: ClaimSheet, writer: Writer) -> Json:
    return {
        "party": named_json(sheet.party),
        "lines": [_claim_line_json(line, writer) for line in sheet.lines],
        "cost": writer.money(sheet.cost),
        "unpriced": sheet.unpriced,
    }


def _claim_line_json(line: ClaimLine, writer: Writer) -> Json:
    loss = line.loss
    return {
        "occurred_at": moment_json(loss.report.occurred_at),
        "report": str(loss.report.uuid),
        "incident": str(line.incident.uuid) if line.incident else None,
        "job": line.job.reference if line.job else None,
        "span": loss.span.name if loss.span else None,
        "run": loss.run.name if loss.run else None,
        "material": named_json(loss.material),
        "amount": _amount_json(loss.amount, loss.material),
        "cause": loss.cause,
        "note": loss.note,
        "cost": writer.money(line.cost),
    }


def fitting_json(row: TaggedFitting) -> Json:
    return {
        "tag": row.tag,
        "material": named_json(row.material),
        "recipe": row.recipe.code if row.recipe else None,
        "place": place_name_json(row.place),
        "made_by": row.made_by,
        "checked_by": row.checked_by,
        "made_date": row.made_date.isoformat() if isinstance(row.made_date, date) else row.made_date,
        "approved_pressure_kpa": row.approved_pressure_kpa,
        "approved_by": named_json(row.approved_by) if row.approved_by else None,
        "state": row.state,
        "is_held": row.is_held,
        "uses": row.uses,
        "withdrawn_at": moment_json(row.withdrawn_at),
        "withdrawn_why": row.withdrawn_why,
    }


def inspection_json(row: FittingInspection) -> Json:
    return {
        "id": str(row.uuid),
        "tag": row.fitting.tag,
        "inspected_at": moment_json(row.inspected_at),
        "by": named_json(row.by),
        "is_passed": row.is_passed,
        "note": row.note,
    }


def to_kpa(pressure: Amount) -> float:
    """A pressure as it is kept; raises where the unit measures something else."""
    return float(convert(pressure.value, pressure.unit, "kPa"))
