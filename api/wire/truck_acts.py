"""What is done with trucks, for every door: goods handed over and answered for, bought, moved to another."""

from typing import Any

from api.wire.acts import Act, Asker
from api.wire.calculations.fields import Record
from api.wire.entry_requests import ENTRY_REQUESTS
from api.wire.input_fields import read_day, read_uuid
from api.wire.truck_answers import hand_over_json, purchase_json
from api.wire.truck_requests import (
    ANSWER,
    HAND_OVER,
    PURCHASE,
    VEHICLE_MOVE,
    make_hand_over,
    make_purchase,
)
from inventory.errors import NotFound
from inventory.models import Entry
from inventory.queries.access import require_may_post
from jobs.queries.access import get_visible_crew_day, require_may_report
from jobs.queries.truck_stock import find_day_of_vehicle, visible_hand_overs
from jobs.services.trucks import answer_hand_over, buy_at_counter, hand_over, move_all_to_vehicle

Json = dict[str, Any]


def _hand_over(values: Json, asker: Asker) -> Json:
    given = make_hand_over(values)
    require_may_post(asker.viewer, Entry.Kind.TRANSFER, [(given["source"], given["target"])])
    return hand_over_json(hand_over(by=asker.by, **given))


def _answer(values: Json, asker: Asker) -> Json:
    uuid = read_uuid(values.pop("id"))
    found = visible_hand_overs(asker.viewer).filter(uuid=uuid).first() if uuid is not None else None
    if found is None:
        raise NotFound("There is no hand-over of that id.")
    require_may_post(asker.viewer, Entry.Kind.TRANSFER, [(None, found.target)])
    return hand_over_json(answer_hand_over(id=found.uuid, by=asker.by, **values))


def _buy(values: Json, asker: Asker) -> Json:
    given = make_purchase(values)
    require_may_report(asker.viewer)
    require_may_post(asker.viewer, Entry.Kind.REPORT, [(None, given["vehicle"])])
    day = find_day_of_vehicle(given["vehicle"], given["occurred_at"].date())
    return purchase_json(buy_at_counter(by=asker.by, crew_day=day, **given))


def _move(values: Json, asker: Asker) -> Json:
    crew, date = values.pop("crew"), values.pop("date")
    day = read_day(date)
    if day is None:
        raise NotFound("That is not a day; write it like 2026-03-31.")
    require_may_report(asker.viewer)
    get_visible_crew_day(asker.viewer, crew_code=crew, date=day)
    moved = move_all_to_vehicle(by=asker.by, crew_code=crew, date=day, **values)
    return {"crew": crew, "date": date, "vehicle": moved.vehicle.code}


def _transfer(values: Json, asker: Asker) -> Json:
    entry = ENTRY_REQUESTS["transfer"].make(values, asker.viewer, asker.by)
    return {"entry": str(entry.uuid)}


# REST takes it among the other entries, with its kind.
TRANSFER = Act(
    name="transfer_goods",
    summary="Move goods, or whole containers with all they hold: dropped at a site, picked up from it.",
    record=Record(fields=ENTRY_REQUESTS["transfer"].fields),
    request="GoodsTransfer",
    answer="GoodsMoved",
    do=_transfer,
)
GIVE = Act(
    name="hand_over",
    summary="Hand goods over to another truck. They stand unconfirmed until its crew answers.",
    record=HAND_OVER,
    request="HandOverRequest",
    answer="HandOver",
    do=_hand_over,
)
REPLY = Act(
    name="answer_hand_over",
    summary=("Confirm or dispute what was handed over; only whoever answers for the receiving truck may."),
    record=ANSWER,
    request="HandOverAnswer",
    answer="HandOver",
    do=_answer,
    status=200,
    names=("id",),
)
BUY = Act(
    name="buy_at_counter",
    summary="Take goods bought at a counter onto a truck, with the number of the ticket.",
    record=PURCHASE,
    request="PurchaseRequest",
    answer="CounterPurchase",
    do=_buy,
)
MOVE = Act(
    name="move_all_to_vehicle",
    summary="Move all to another vehicle, with which the crew's day goes on.",
    record=VEHICLE_MOVE,
    request="VehicleMoveRequest",
    answer="CrewDayVehicle",
    do=_move,
    status=200,
    names=("crew", "date"),
)
ACTS = (TRANSFER, GIVE, REPLY, BUY, MOVE)
