"""Hand-overs, purchases and trucks to chase as JSON."""

from typing import Any

from api.wire.answers import named_json, place_name_json
from api.wire.moments import moment_json
from api.wire.schemas import DAY, FLAG, MOMENT, TEXT, Schema, nullable, of, shape
from api.wire.schemas import UUID as UUID_SHAPE
from jobs.models import CounterPurchase, HandOver
from jobs.queries.truck_stock import UnconfirmedTruck

Json = dict[str, Any]


def hand_over_json(row: HandOver) -> Json:
    return {
        "id": str(row.uuid),
        "source": place_name_json(row.source),
        "target": place_name_json(row.target),
        "occurred_at": moment_json(row.occurred_at),
        "by": named_json(row.by),
        "note": row.note,
        "entry": str(row.entry_uuid),
        "is_confirmed": row.is_confirmed,
        "answered_at": moment_json(row.answered_at),
        "answered_by": named_json(row.answered_by) if row.answered_by else None,
        "answer_note": row.answer_note,
    }


def purchase_json(row: CounterPurchase) -> Json:
    return {
        "id": str(row.uuid),
        "supplier": place_name_json(row.supplier),
        "vehicle": place_name_json(row.vehicle),
        "ticket_number": row.ticket_number,
        "occurred_at": moment_json(row.occurred_at),
        "by": named_json(row.by),
        "note": row.note,
        "entry": str(row.entry_uuid),
    }


def unconfirmed_truck_json(row: UnconfirmedTruck) -> Json:
    return {
        "vehicle": place_name_json(row.vehicle),
        "crew": {"code": row.crew_code, "name": row.crew_name},
        "date": row.date.isoformat(),
        "flagged_at": moment_json(row.flagged_at),
        "sentence": row.sentence,
    }


COMPONENTS: dict[str, Schema] = {
    "GoodsMoved": shape(entry=UUID_SHAPE),
    "HandOver": shape(
        id=UUID_SHAPE,
        source=of("PlaceName"),
        target=of("PlaceName"),
        occurred_at=MOMENT,
        by=of("Named"),
        note=TEXT,
        entry=UUID_SHAPE,
        is_confirmed=nullable(FLAG),
        answered_at=nullable(MOMENT),
        answered_by=nullable(of("Named")),
        answer_note=TEXT,
    ),
    "CounterPurchase": shape(
        id=UUID_SHAPE,
        supplier=of("PlaceName"),
        vehicle=of("PlaceName"),
        ticket_number=TEXT,
        occurred_at=MOMENT,
        by=of("Named"),
        note=TEXT,
        entry=UUID_SHAPE,
    ),
    "CrewDayVehicle": shape(crew=TEXT, date=DAY, vehicle=TEXT),
    "UnconfirmedTruck": shape(
        vehicle=of("PlaceName"), crew=of("Named"), date=DAY, flagged_at=MOMENT, sentence=TEXT
    ),
}
