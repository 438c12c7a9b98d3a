"""Holding goods in doubt back, with everything that was poured from them, until the safety role lifts it."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import F, Q

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, ContainerChange, Entry, Movement, Quarantine, QuarantineHold
from inventory.queries.access import NotAllowed
from inventory.queries.quarantine_reach import find_reach
from inventory.services.posting import ContainerWish, EntryConflict, Posting, post
from inventory.services.sealing import record_event

State = Container.State


class NotYoursToLift(NotAllowed):
    """Whoever caused a hard stop never lifts it."""

    code = "not_yours_to_lift"


@transaction.atomic
def open_quarantine(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    container: Container,
    reason: str,
    caused_by: Actor | None = None,
) -> Quarantine:
    """Hold a lot or container back, and all that came of it; a repeat under the id gives the first answer.

    What is poured from it later, by a report of what has happened, is found and held as well.
    """
    known = Quarantine.objects.filter(uuid=id).first()
    if known is not None:
        is_same = (known.container_id, known.opened_by_id) == (container.pk, by.pk)
        if not is_same or known.reason != reason.strip():
            raise EntryConflict(f"The id {id} was used with other content. Use a new one.")
        return known
    if not reason.strip():
        raise BadInput.of([Fault("/reason", "", "is needed: say what the doubt is")])
    standing = Quarantine.objects.filter(container=container, lifted_at=None).first()
    if standing is not None:
        message = f"is in quarantine already: {standing.reason}"
        raise BadInput.of([Fault("/container", str(container), message)])
    quarantine = Quarantine.objects.create(
        uuid=id,
        container=container,
        reason=reason.strip(),
        opened_at=occurred_at,
        opened_by=by,
        caused_by=caused_by,
    )
    held = _hold(quarantine, by=by, at=occurred_at, id=id)
    record_event(
        id=uuid5(id, "told"),
        kind="quarantine_opened",
        occurred_at=occurred_at,
        body={
            "quarantine": str(id),
            "container": container.label,
            "reason": quarantine.reason,
            "held": sorted(box.label for box in held),
        },
    )
    return quarantine


@transaction.atomic
def lift_quarantine(
    *, id: UUID, by: Actor, occurred_at: datetime, quarantine: Quarantine, reason: str
) -> Quarantine:
    """Give free what no other quarantine holds; each vessel goes back to the state it was in.

    Raises
    ------
    NotYoursToLift
        If the one who lifts it is the one who caused it.
    """
    quarantine = Quarantine.objects.select_for_update(of=("self",)).get(pk=quarantine.pk)
    if quarantine.lifted_at is not None:
        if quarantine.lifted_by_id != by.pk or quarantine.lift_reason != reason.strip():
            raise EntryConflict("This quarantine was lifted before.")
        return quarantine
    if not reason.strip():
        raise BadInput.of([Fault("/reason", "", "is needed: say why it may be used again")])
    if quarantine.caused_by_id == by.pk:
        raise NotYoursToLift("You caused this stop; another one of the safety role lifts it.")
    quarantine.lifted_at, quarantine.lifted_by, quarantine.lift_reason = occurred_at, by, reason.strip()
    quarantine.save(update_fields=["lifted_at", "lifted_by", "lift_reason"])
    _give_free(quarantine, by=by, at=occurred_at, id=id)
    record_event(
        id=uuid5(quarantine.uuid, "lifted"),
        kind="quarantine_lifted",
        occurred_at=occurred_at,
        body={"quarantine": str(quarantine.uuid), "container": quarantine.container.label},
    )
    return quarantine


def extend_quarantines(*, by: Actor, now: datetime) -> int:
    """Hold what was poured, since a quarantine was opened, from what it holds. Safe to run twice."""
    found = 0
    for quarantine in Quarantine.objects.filter(lifted_at=None).order_by("pk"):
        with transaction.atomic():
            locked = Quarantine.objects.select_for_update(of=("self",)).get(pk=quarantine.pk)
            if locked.lifted_at is None:
                # The number of holds tells this extension from the ones before it.
                id = uuid5(locked.uuid, f"extended {locked.holds.count()}")
                found += len(_hold(locked, by=by, at=now, id=id))
    return found


def _hold(quarantine: Quarantine, *, by: Actor, at: datetime, id: UUID) -> list[Container]:
    """Hold all that the quarantine reaches by now and does not hold yet."""
    known = set(quarantine.holds.values_list("container", flat=True))
    reached = find_reach(quarantine.container).containers
    boxes = [
        box
        for box in Container.objects.filter(pk__in=set(reached) - known).order_by("pk")
        if box.pk == quarantine.container_id or box.state not in {State.GONE, State.CLEAN}
    ]
    if not boxes:
        return []
    before = {box.pk: _state_before(box) for box in boxes}
    entry = post(
        Posting(
            uuid=id,
            kind=Entry.Kind.REPORT,
            occurred_at=at,
            by=by,
            wishes=tuple(ContainerWish(box, state=State.HELD) for box in boxes),
            reason=f"held back: {quarantine.reason}"[:500],
        )
    )
    QuarantineHold.objects.bulk_create(
        [
            QuarantineHold(quarantine=quarantine, container=box, state_before=before[box.pk], entry=entry)
            for box in boxes
        ]
    )
    return boxes


def _state_before(box: Container) -> str:
    """The state to go back to; of one that was held before, that from before then."""
    if box.state != State.HELD:
        return box.state
    changes = ContainerChange.objects.filter(container=box, state_after=State.HELD)
    last = changes.exclude(state_before=State.HELD).order_by("pk").last()
    return last.state_before if last is not None else State.OPEN


def _give_free(quarantine: Quarantine, *, by: Actor, at: datetime, id: UUID) -> None:
    holds = list(quarantine.holds.select_related("container", "quarantine").order_by("container"))
    others = set(
        QuarantineHold.objects.filter(
            quarantine__lifted_at=None, container__in=[row.container_id for row in holds]
        ).values_list("container", flat=True)
    )
    freed = [row for row in holds if row.container_id not in others and row.container.state == State.HELD]
    if freed:
        _post_freed(freed, by=by, at=at, id=id, reason=quarantine.lift_reason)


def _post_freed(freed: Iterable[QuarantineHold], *, by: Actor, at: datetime, id: UUID, reason: str) -> None:
    post(
        Posting(
            uuid=id,
            kind=Entry.Kind.REPORT,
            occurred_at=at,
            by=by,
            wishes=tuple(ContainerWish(row.container, state=_state_after(row)) for row in freed),
            reason=f"quarantine lifted: {reason}"[:500],
        )
    )


def _state_after(hold: QuarantineHold) -> str:
    """The state it was in before, unless somebody poured from or into it meanwhile: then it is open."""
    if hold.state_before not in {State.SEALED, State.CLEAN}:
        return hold.state_before
    touched = Q(source_container=hold.container) | Q(target_container=hold.container)
    poured = Movement.objects.filter(touched, effective_at__gte=hold.quarantine.opened_at)
    is_touched = poured.exclude(source_container=F("target_container")).exists()
    return State.OPEN if is_touched else hold.state_before
