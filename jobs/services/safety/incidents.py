"""Incidents: what went wrong, where, how much, who was told and when, until safety closes it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor, Material, Movement, Party
from inventory.services.documents import fingerprint_of, take_once
from inventory.services.lines import stored_quantity
from inventory.services.sealing import record_event
from inventory.units import Amount
from jobs.models import AccessPoint, CrewDay, FieldReport, Incident, Job, ReportedLoss, Run, Span
from jobs.services.reports.content import IncidentContent, ReportContent
from jobs.services.reports.names import Names
from jobs.services.reports.rows import Told
from jobs.services.safety.roles import require_safety

# An amount estimated by eye may be half of it or half as much again (an estimate, no source).
LOW, HIGH = 1, 3
LONGEST_NOTE = 500


class IncidentIsClosed(SpanstockError):
    """The incident has been closed; open another for what came to be known since."""

    code = "incident_is_closed"


@dataclass(frozen=True, kw_only=True)
class IncidentFacts:
    """What is known of an incident. Only its kind is required."""

    kind: str
    crew_day: CrewDay | None = None
    job: Job | None = None
    run: Run | None = None
    span: Span | None = None
    access_point: AccessPoint | None = None
    material: Material | None = None
    amount: Amount | None = None
    amount_low: Amount | None = None
    amount_high: Amount | None = None
    is_contained: bool | None = None
    cause: str = ""
    liable_party: Party | None = None
    note: str = ""


def open_incident(*, id: UUID, by: Actor, occurred_at: datetime, facts: IncidentFacts) -> Incident:
    """Open an incident under an id of the sender's; the same again gives the first.

    Raises
    ------
    DocumentConflict
        If the id was used with other content or by somebody else.
    BadInput
        If a word is none of its list, or an amount does not lie within its interval.
    """
    _check(facts)
    amounts = _read_amounts(facts)
    fingerprint = fingerprint_of(occurred_at=occurred_at, **vars(facts))

    def make() -> Incident:
        return _make(id, by, occurred_at, facts, amounts, fingerprint=fingerprint)

    with transaction.atomic():
        return take_once(Incident, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def open_told_incidents(content: ReportContent, *, told: Told, names: Names) -> list[Incident]:
    """Open the incidents that a report tells of, in the report's own transaction."""
    report, made = told.report, []
    for number, row in enumerate(content.incidents):
        facts = _facts_of(row, report, names)
        _check(facts, f"/incidents/{number}")
        amounts = _read_amounts(facts, f"/incidents/{number}")
        id = uuid5(report.uuid, f"incident:{number}")
        at = row.occurred_at or report.occurred_at
        made.append(_make(id, report.by, at, facts, amounts, report=report))
    return made


def open_incident_of_loss(loss: ReportedLoss, *, kind: str) -> Incident:
    """Open an incident for a loss that a rule found, and tie the loss to it."""
    report = loss.report
    span, run = loss.span, loss.run
    facts = IncidentFacts(
        kind=kind,
        crew_day=report.crew_day,
        job=span.job if span else run.job if run else None,
        run=run or (span.run if span else None),
        span=span,
        material=loss.material,
        is_contained=loss.is_contained,
        cause=loss.cause,
        liable_party=loss.liable_party,
        note=loss.note,
    )
    amounts = _interval(loss.amount) if loss.amount is not None else (None, None, None)
    incident = _make(_id_of_loss(loss), report.by, report.occurred_at, facts, amounts, report=report)
    ReportedLoss.objects.filter(report=report, position=loss.position).update(incident=incident)
    return incident


def open_spill_incidents(losses: Sequence[ReportedLoss]) -> list[Incident]:
    """Open an incident for each spill that a report tells of, contained or not, and nothing opened one for.

    Where the report tells of an incident of its own kind spill, that one stands for its spills.
    """
    spills = [row for row in losses if row.cause == Movement.Cause.SPILL]
    if not spills:
        return []
    report = spills[0].report
    known = set(Incident.objects.filter(report=report).values_list("uuid", "kind"))
    if Incident.Kind.SPILL in {kind for _id, kind in known}:
        return []
    ids = {id for id, _kind in known}
    return [
        open_incident_of_loss(row, kind=Incident.Kind.SPILL) for row in spills if _id_of_loss(row) not in ids
    ]


def _id_of_loss(loss: ReportedLoss) -> UUID:
    return uuid5(loss.report.uuid, f"incident:loss:{loss.position}")


@transaction.atomic
def tell_of_incident(*, id: UUID, who: str, how: str, at: datetime) -> Incident:
    """Add who was told of an incident, when and how; the same again adds nothing."""
    if not who.strip() or len(who) > 200:
        raise BadInput.of([Fault("/who", who[:60], "must name who was told, in 1 to 200 characters")])
    incident = _lock(id)
    line = {"who": who.strip(), "at": at.astimezone(UTC).isoformat(), "how": how}
    if line not in incident.told:
        incident.told = [*incident.told, line]
        incident.save(update_fields=["told"])
    return incident


@transaction.atomic
def close_incident(*, id: UUID, by: Actor, role: str, note: str, occurred_at: datetime) -> Incident:
    """Close an incident, by safety, with what came of it; the same again changes nothing."""
    require_safety(role)
    note = note.strip()
    if not note or len(note) > LONGEST_NOTE:
        raise BadInput.of(
            [Fault("/note", note[:60], f"must say what came of it, in 1 to {LONGEST_NOTE} characters")]
        )
    incident = _lock(id)
    if incident.closed_at is not None:
        if (incident.closed_by_id, incident.closing_note) == (by.pk, note):
            return incident
        raise IncidentIsClosed("This incident has been closed already.")
    incident.closed_at, incident.closed_by, incident.closing_note = occurred_at, by, note
    incident.save(update_fields=["closed_at", "closed_by", "closing_note"])
    record_event(
        id=uuid5(incident.uuid, "closed"),
        kind="incident_closed",
        occurred_at=occurred_at,
        body={"incident": str(incident.uuid), "by": by.code, "note": note},
    )
    return incident


def _lock(id: UUID) -> Incident:
    incident = Incident.objects.select_for_update().filter(uuid=id).first()
    if incident is None:
        raise NotFound("There is no incident of that id.")
    return incident


def _facts_of(row: IncidentContent, report: FieldReport, names: Names) -> IncidentFacts:
    span = names.spans[row.span] if row.span is not None else None
    run = names.runs[row.run] if row.run is not None else None
    job = span.job if span else run.job if run else None
    point = None
    if row.access_point and job is not None:
        point = names.points.get((job.reference, row.access_point)) or (
            AccessPoint.objects.filter(job=job, name=row.access_point).first()
        )
    return IncidentFacts(
        kind=row.kind,
        crew_day=report.crew_day,
        job=job,
        run=run or (span.run if span else None),
        span=span,
        access_point=point,
        material=names.materials.get(row.material),
        amount=row.amount,
        amount_low=row.amount_low,
        amount_high=row.amount_high,
        is_contained=row.is_contained,
        cause=row.cause,
        liable_party=names.parties.get(row.liable_party),
        note=row.note if point is not None or not row.access_point else _with_point(row),
    )


def _with_point(row: IncidentContent) -> str:
    """The note, with an access point that is on no record or whose job nobody told."""
    return f"{row.note} [at {row.access_point}, which is no access point on record]".strip()


def _check(facts: IncidentFacts, where: str = "") -> None:
    faults = []
    if facts.kind not in Incident.Kind.values:
        faults.append(
            Fault(f"{where}/kind", facts.kind[:60], f"is none of: {', '.join(Incident.Kind.values)}")
        )
    if facts.cause and facts.cause not in Movement.Cause.values:
        faults.append(
            Fault(f"{where}/cause", facts.cause[:60], f"is none of: {', '.join(Movement.Cause.values)}")
        )
    if facts.material is None and facts.amount is not None:
        faults.append(Fault(f"{where}/material", "", "is missing; an amount is one of something"))
    if faults:
        raise BadInput.of(faults)


Amounts = tuple[int | None, int | None, int | None]


def _read_amounts(facts: IncidentFacts, where: str = "") -> Amounts:
    """The amount with its interval, in millionths; where only one is told, by eye."""
    if facts.amount is None or facts.material is None:
        return None, None, None
    unit = facts.material.stock_unit
    amount = stored_quantity(facts.amount, unit, pointer=f"{where}/amount")
    low, _amount, high = _interval(amount)
    if facts.amount_low is not None:
        low = stored_quantity(facts.amount_low, unit, pointer=f"{where}/amount_low")
    if facts.amount_high is not None:
        high = stored_quantity(facts.amount_high, unit, pointer=f"{where}/amount_high")
    if not 0 <= low <= amount <= high:
        message = "must lie between the lowest and the highest it may be, none below nothing"
        raise BadInput.of([Fault(f"{where}/amount", str(facts.amount), message)])
    return low, amount, high


def _interval(amount: int) -> tuple[int, int, int]:
    return amount * LOW // 2, amount, amount * HIGH // 2


def _make(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    facts: IncidentFacts,
    amounts: Amounts,
    *,
    report: FieldReport | None = None,
    fingerprint: str = "",
) -> Incident:
    kept: Mapping[str, Any] = {
        name: value for name, value in vars(facts).items() if not name.startswith("amount")
    }
    low, amount, high = amounts
    incident = Incident.objects.create(
        uuid=id,
        fingerprint=fingerprint,
        occurred_at=occurred_at,
        recorded_at=timezone.now(),
        by=by,
        report=report,
        amount=amount,
        amount_low=low,
        amount_high=high,
        **kept,
    )
    body: dict[str, object] = {"incident": str(id), "kind": facts.kind, "by": by.code, "to": "safety"}
    record_event(id=id, kind="incident_opened", occurred_at=occurred_at, body=body)
    return incident
