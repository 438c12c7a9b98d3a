"""What happens to a whole truck: moved to another vehicle, goods handed over, goods bought at a counter."""

from collections.abc import Sequence
from datetime import date as day_of
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone

from inventory.errors import BadInput, NotFound, SpanstockError
from inventory.models import (
    Actor,
    Container,
    Entry,
    Holding,
    Instrument,
    Movement,
    Place,
    Reservation,
    TaggedFitting,
)
from inventory.services.goods import transfer
from inventory.services.lines import Line, require_kind
from inventory.services.posting import REST, ContainerWish, End, EntryConflict, Flow, Posting, post
from inventory.services.receipts import ReceiptLine, receive
from jobs.models import CounterPurchase, CrewDay, HandOver
from jobs.services.day_life import lock_crew_day

ENTRY_STEP = "entry"


class HandOverAnswered(SpanstockError):
    """The hand-over was confirmed or disputed before, and otherwise."""

    code = "hand_over_answered"


class OwnHandOver(SpanstockError):
    """Whoever gave the goods cannot confirm that they arrived."""

    code = "own_hand_over"


class TicketBooked(SpanstockError):
    """The ticket of this supplier was booked before, under another id."""

    code = "ticket_booked"


@transaction.atomic
def move_all_to_vehicle(
    *, id: UUID, by: Actor, occurred_at: datetime, crew_code: str, date: day_of, vehicle: Place
) -> CrewDay:
    """Move everything on a crew's truck onto another vehicle, with which the day goes on.

    Goods with their owners, vessels full or empty, instruments, tagged fittings, and what is promised to the
    day. Sent again it moves nothing more.
    """
    require_kind(vehicle, {Place.Kind.VEHICLE}, pointer="/vehicle")
    day = lock_crew_day(crew_code=crew_code, date=date)
    document = f"vehicle:{crew_code}:{date}:{vehicle.code}"
    known = Entry.objects.filter(uuid=id).first()
    if known is not None:
        if known.actor_id != by.pk or known.document != document:
            raise EntryConflict(f"The id {id} is taken. Use a new one.")
        return day
    if day.vehicle_id == vehicle.pk:
        raise BadInput(f"Crew {crew_code} is on {vehicle} already on {date}.")
    _post_whole_truck(id, by, occurred_at, document, day.vehicle, vehicle)
    for model in (Instrument, TaggedFitting):
        model.objects.filter(place=day.vehicle_id).update(place=vehicle)
    promised = Reservation.objects.filter(place=day.vehicle_id, reference=day.requirement_reference)
    promised.update(place=vehicle)
    day.vehicle = vehicle
    day.save(update_fields=["vehicle"])
    return day


def _post_whole_truck(
    id: UUID, by: Actor, occurred_at: datetime, document: str, source: Place, target: Place
) -> Entry:
    vessels = Container.objects.filter(place=source).exclude(state=Container.State.GONE)
    loose = Holding.objects.filter(place=source, quantity__gt=0).select_related(
        "material", "owner", "container__owner"
    )
    flows = [
        Flow(
            material=row.material,
            quantity=REST,
            source=End(source, row.container),
            target=End(target, row.container),
            purpose=Movement.Purpose.MOVED,
            owner=row.owner,
        )
        for row in loose.order_by("key")
        if row.container is None or not row.container.stands_somewhere
    ]
    return post(
        Posting(
            uuid=id,
            kind=Entry.Kind.TRANSFER,
            occurred_at=occurred_at,
            by=by,
            flows=tuple(flows),
            wishes=tuple(ContainerWish(vessel, place=target) for vessel in vessels.order_by("pk")),
            reason=f"everything moved from {source}",
            document=document,
        )
    )


@transaction.atomic
def hand_over(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    source: Place,
    target: Place,
    lines: Sequence[Line] = (),
    containers: Sequence[Container] = (),
    note: str = "",
) -> HandOver:
    """Give goods from one truck to another. They are moved at once and stand unconfirmed until answered."""
    for place, pointer in ((source, "/source"), (target, "/target")):
        require_kind(place, {Place.Kind.VEHICLE}, pointer=pointer)
    entry = transfer(
        id=uuid5(id, ENTRY_STEP),
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        containers=[(container, target) for container in containers],
        as_report=True,
        reason=note or f"handed over to {target}",
        document=f"hand-over:{id}",
    )
    found, _is_new = HandOver.objects.get_or_create(
        uuid=id,
        defaults={
            "source": source,
            "target": target,
            "occurred_at": occurred_at,
            "recorded_at": timezone.now(),
            "by": by,
            "entry_uuid": entry.uuid,
            "note": note,
        },
    )
    return found


@transaction.atomic
def answer_hand_over(
    *, id: UUID, by: Actor, occurred_at: datetime, is_confirmed: bool, note: str = ""
) -> HandOver:
    """Say as the receiver whether what was handed over has arrived; the same answer again is harmless.

    A dispute moves nothing: a count of both trucks says what is where.

    Raises
    ------
    OwnHandOver
        If whoever gave the goods answers.
    HandOverAnswered
        If it was answered otherwise before.
    """
    found = HandOver.objects.select_for_update(of=("self",)).filter(uuid=id).first()
    if found is None:
        raise NotFound("There is no hand-over of that id.")
    if found.by_id == by.pk:
        raise OwnHandOver("Whoever hands goods over cannot confirm them; somebody of the other truck does.")
    if found.is_confirmed is None:
        found.is_confirmed, found.answered_by, found.answered_at = is_confirmed, by, occurred_at
        found.answer_note = note
        found.save()
    elif found.is_confirmed != is_confirmed:
        word = "confirmed" if found.is_confirmed else "disputed"
        raise HandOverAnswered(f"This hand-over was {word} before. Count the truck where that was wrong.")
    return found


@transaction.atomic
def buy_at_counter(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    supplier: Place,
    vehicle: Place,
    ticket_number: str,
    lines: Sequence[ReceiptLine],
    crew_day: CrewDay | None = None,
    note: str = "",
) -> CounterPurchase:
    """Take goods bought at a counter onto a truck, at what the ticket says they cost.

    Raises
    ------
    TicketBooked
        If the ticket was booked under another id: somebody else of the crew has sent it.
    """
    require_kind(supplier, {Place.Kind.SUPPLIER}, pointer="/supplier")
    require_kind(vehicle, {Place.Kind.VEHICLE}, pointer="/vehicle")
    ticket = ticket_number.strip()
    if not ticket:
        raise BadInput("A purchase at a counter needs the number of its ticket.")
    known = CounterPurchase.objects.filter(supplier=supplier, ticket_number=ticket).first()
    if known is not None and known.uuid != id:
        raise TicketBooked(
            f"Ticket {ticket} of {supplier} was booked on {known.occurred_at:%Y-%m-%d} already."
        )
    entry = receive(
        id=uuid5(id, ENTRY_STEP),
        by=by,
        occurred_at=occurred_at,
        source=supplier,
        lines=lines,
        reason=note or "bought at the counter",
        document=f"ticket:{ticket}",
    )
    found, _is_new = CounterPurchase.objects.get_or_create(
        uuid=id,
        defaults={
            "crew_day": crew_day,
            "vehicle": vehicle,
            "supplier": supplier,
            "ticket_number": ticket,
            "occurred_at": occurred_at,
            "recorded_at": timezone.now(),
            "by": by,
            "entry_uuid": entry.uuid,
            "note": note,
        },
    )
    return found
