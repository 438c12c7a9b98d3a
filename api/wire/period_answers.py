"""Closed periods, how far a closing has come, and what jobs had cost by then, with their shapes."""

from datetime import datetime
from typing import Any

from api.wire.accounting_answers import ROLL_WORDS, worth_schema
from api.wire.amounts import money_json
from api.wire.answers import named_json
from api.wire.moments import moment_json
from api.wire.schemas import DAY, MOMENT, TEXT, UUID, WHOLE, Schema, listing, nullable, of, shape
from inventory.models import AccountingPeriod
from inventory.queries.open_points import OpenPoint
from jobs.models import PeriodClosing, PeriodJobCost
from jobs.queries.period_closings import find_state

Json = dict[str, Any]
STATES = ("waiting", "working", "closed", "refused", "failed")


def open_point_json(point: OpenPoint) -> Json:
    return {"kind": point.kind, "name": point.name, "sentence": point.sentence}


def period_json(period: AccountingPeriod, currency: str) -> Json:
    return {
        "first_date": period.first_date.isoformat() if period.first_date else None,
        "last_date": period.last_date.isoformat(),
        "closed_at": moment_json(period.closed_at),
        "closed_by": named_json(period.closed_by),
        "remark": period.remark,
        "open_points": [open_point_json(OpenPoint(*point)) for point in period.open_points],
        "roll_forward": [_kept_row(row, currency) for row in period.roll_forward],
        "last_sequence": period.last_sequence,
        "last_hash": period.last_hash,
        "reopened_at": moment_json(period.reopened_at) if period.reopened_at else None,
    }


def _kept_row(row: Json, currency: str) -> Json:
    units = {"material": row["material"], "owner": row["owner"]}
    worths = {
        word: {"quantity": _millionths(row[word][0]), "value": money_json(row[word][1], currency)}
        for word in ROLL_WORDS
    }
    return units | worths


def _millionths(amount: int) -> str:
    sign, whole = ("-", -amount) if amount < 0 else ("", amount)
    return f"{sign}{whole // 10**6}.{whole % 10**6:06d}"


def closing_json(closing: PeriodClosing, currency: str, *, now: datetime) -> Json:
    """A closing and how many of its jobs have their cost stated."""
    refusal = {"code": closing.refusal_code, "detail": closing.refusal} if closing.refusal_code else None
    return {
        "id": str(closing.uuid),
        "last_date": closing.last_date.isoformat(),
        "remark": closing.remark,
        "asked_by": named_json(closing.asked_by),
        "asked_at": moment_json(closing.asked_at),
        "state": find_state(closing, now=now),
        "jobs": closing.job_count,
        "jobs_done": closing.jobs_done,
        "period": period_json(closing.period, currency) if closing.period else None,
        "refusal": refusal,
        "finished_at": moment_json(closing.finished_at) if closing.finished_at else None,
    }


def job_cost_json(row: PeriodJobCost, currency: str) -> Json:
    return {
        "job": row.job.reference,
        "change": money_json(row.change, currency),
        "cost": money_json(row.cost, currency),
    }


COMPONENTS: dict[str, Schema] = {
    "OpenPoint": shape(kind=TEXT, name=TEXT, sentence=TEXT),
    "CheckList": shape(last_date=DAY, open_points=listing(of("OpenPoint"))),
    "AccountingPeriod": shape(
        first_date=nullable(DAY),
        last_date=DAY,
        closed_at=MOMENT,
        closed_by=of("Named"),
        remark=TEXT,
        open_points=listing(of("OpenPoint")),
        roll_forward=listing(
            shape(
                material=TEXT,
                owner=TEXT,
                **{word: worth_schema({"type": "string"}) for word in ROLL_WORDS},
            )
        ),
        last_sequence=WHOLE,
        last_hash=TEXT,
        reopened_at=nullable(MOMENT),
    ),
    "PeriodJobCost": shape(job=TEXT, change=of("Money"), cost=of("Money")),
    "ClosingProgress": shape(
        id=UUID,
        last_date=DAY,
        remark=TEXT,
        asked_by=of("Named"),
        asked_at=MOMENT,
        state={"type": "string", "enum": list(STATES)},
        jobs=WHOLE,
        jobs_done=WHOLE,
        period=nullable(of("AccountingPeriod")),
        refusal=nullable(shape(code=TEXT, detail=TEXT)),
        finished_at=nullable(MOMENT),
    ),
}
