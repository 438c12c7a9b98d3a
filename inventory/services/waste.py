"""Waste: since when a vessel gathers it, until when it must go, and handing it over under a manifest."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import (
    Actor,
    Container,
    DomainEvent,
    Entry,
    Holding,
    Movement,
    Place,
    WasteDrum,
    WasteManifest,
)
from inventory.queries.company import get_day
from inventory.queries.recovered_fluid import WasteDue, list_waste_due
from inventory.services.lines import REST, owner_at
from inventory.services.posting import ContainerWish, End, EntryConflict, Flow, Posting, post
from inventory.services.posting.special_places import get_special_place
from inventory.services.sealing import record_event
from inventory.services.write_off_limit import ask_afterwards

TELLINGS = UUID("b6f0c1d2-5d0f-4d1c-8a35-2f6f4f0e9c77")


class ManifestTaken(SpanstockError):
    """The number stands on a manifest that was used before."""

    code = "manifest_taken"


@transaction.atomic
def start_waste_drum(
    *, container: Container, by: Actor, occurred_at: datetime, day_limit: int | None = None
) -> WasteDrum:
    """Let a vessel gather waste from this day on; one that does already keeps its earlier date.

    A limit that is given takes the place of the one before: which holds, is the company's word.
    """
    if not container.stands_somewhere:
        message = "is a lot; name the vessel that gathers the waste"
        raise BadInput.of([Fault("/container", str(container), message)])
    if day_limit is not None and day_limit < 1:
        raise BadInput.of([Fault("/day_limit", str(day_limit), "must be at least 1")])
    date = get_day(occurred_at)
    drum = WasteDrum.objects.select_for_update().filter(container=container, manifest=None).first()
    if drum is None:
        return WasteDrum.objects.create(
            container=container, started_date=date, day_limit=day_limit, started_by=by
        )
    drum.started_date = min(drum.started_date, date)
    drum.day_limit = day_limit if day_limit is not None else drum.day_limit
    drum.save(update_fields=["started_date", "day_limit"])
    return drum


@transaction.atomic
def hand_over_waste(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    containers: Sequence[Container],
    number: str,
    receiver: str,
    target: Place | None = None,
    keeps_vessels: bool = False,
    reason: str = "",
) -> WasteManifest:
    """Hand over all that these vessels hold, under a manifest; the vessels go too unless they are kept.

    Taken as told: it has happened. The manifest's number is used once at the desk; one that field reports
    have told of already is the same paper.
    """
    _check(containers, number, receiver)
    known = WasteManifest.objects.select_related("entry").filter(entry__uuid=id).first()
    if known is not None:
        return _accept_again(known, by, number, receiver, containers)
    taken = WasteManifest.objects.select_for_update().filter(number=number.strip()).first()
    if taken is not None and taken.entry_id is not None:
        raise ManifestTaken(f"Manifest {number} was used on {taken.handed_at:%Y-%m-%d}. Look at its number.")
    waste = target or get_special_place(Place.Kind.WASTE)
    if waste.kind != Place.Kind.WASTE:
        raise BadInput.of([Fault("/target", str(waste), "is no place that waste is handed over to")])
    entry = _post_handover(id, by, occurred_at, containers, waste, number, reason, keeps_vessels)
    # What a crew told of under this number is the same paper: the desk adds what it hands over itself.
    manifest = taken or WasteManifest(number=number.strip(), handed_at=occurred_at, by=by)
    manifest.entry, manifest.receiver = entry, receiver.strip()
    manifest.save()
    WasteDrum.objects.filter(container__in=containers, manifest=None).update(manifest=manifest)
    return manifest


@transaction.atomic
def note_manifest(
    *, number: str, receiver: str, by: Actor, handed_at: datetime, emptied: Sequence[Container]
) -> WasteManifest:
    """Keep the paper that a field report told of; where it is known already, by that number, it is the same.

    The goods are moved by whoever tells of them. `emptied` are the vessels that gather no waste any more.
    """
    manifest, _is_new = WasteManifest.objects.get_or_create(
        number=number.strip(), defaults={"receiver": receiver.strip(), "handed_at": handed_at, "by": by}
    )
    WasteDrum.objects.filter(container__in=emptied, manifest=None).update(manifest=manifest)
    return manifest


@transaction.atomic
def forget_manifest(*, number: str) -> None:
    """Take a paper back that nobody tells of any more; its vessels gather waste again as before."""
    rows = WasteManifest.objects.select_for_update().filter(number=number.strip(), entry=None)
    manifest = rows.first()
    if manifest is None:
        return
    again = WasteDrum.objects.filter(manifest=None).values("container")
    manifest.waste_drums.filter(container__in=again).delete()
    manifest.waste_drums.update(manifest=None)
    manifest.delete()


@transaction.atomic
def tell_waste_due(*, on_date: date, now: datetime) -> list[WasteDrum]:
    """Tell safety, once each, of vessels whose waste must go by this day or has no limit of days.

    One whose limit or start is changed afterwards is told of again when that day comes.
    """
    rows = list_waste_due(WasteDrum.objects.all(), on_date=on_date)
    pressing = {_telling_id(row): row for row in rows if row.days_left is None or row.days_left <= 0}
    known = set(DomainEvent.objects.filter(uuid__in=pressing).values_list("uuid", flat=True))
    new = {id: row for id, row in pressing.items() if id not in known}
    for id, row in new.items():
        body: dict[str, object] = {
            "container": row.drum.container.label,
            "started": row.drum.started_date.isoformat(),
            "due": row.due_date.isoformat() if row.due_date is not None else None,
            "to": "safety",
        }
        kind = "waste_due" if row.due_date is not None else "waste_without_limit"
        record_event(id=id, kind=kind, occurred_at=now, body=body)
    return [row.drum for row in new.values()]


def _telling_id(row: WasteDue) -> UUID:
    return uuid5(TELLINGS, f"{row.drum.pk}:{row.due_date}")


def _check(containers: Sequence[Container], number: str, receiver: str) -> None:
    faults = [
        Fault(f"/{name}", "", "is needed for waste")
        for name, text in (("number", number), ("receiver", receiver))
        if not text.strip()
    ]
    if not containers:
        faults.append(Fault("/containers", "", "must name at least one vessel"))
    for position, container in enumerate(containers):
        if not container.stands_somewhere:
            message = "is a lot; name the vessels that go"
            faults.append(Fault(f"/containers/{position}", str(container), message))
    if faults:
        raise BadInput.of(faults)


def _post_handover(
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    containers: Sequence[Container],
    waste: Place,
    number: str,
    reason: str,
    keeps_vessels: bool,
) -> Entry:
    flows = []
    rows = Holding.objects.filter(container__in=containers, place__kind__in=Place.STOCK_KINDS, quantity__gt=0)
    for holding in rows.select_related("place", "material", "container").order_by("key"):
        if holding.container is None or holding.place_id != holding.container.place_id:
            continue
        source = End(holding.place, holding.container)
        flows.append(
            Flow(
                material=holding.material,
                quantity=REST,
                source=source,
                target=End(waste),
                purpose=Movement.Purpose.DISPOSED,
                owner=owner_at(source),
            )
        )
    state = Container.State.OPEN if keeps_vessels else Container.State.GONE
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.DISPOSAL,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        wishes=tuple(ContainerWish(box, state=state) for box in containers),
        reason=reason,
        document=number.strip(),
        # The receiver took it along: nothing is left to refuse.
        check=ask_afterwards,
    )
    return post(posting)


def _accept_again(
    known: WasteManifest, by: Actor, number: str, receiver: str, containers: Sequence[Container]
) -> WasteManifest:
    """The manifest made under this id, if it is this one; goods that came since change nothing about it."""
    assert known.entry is not None
    named = {box.pk for box in containers}
    handed = set(known.entry.movements.values_list("source_container", flat=True))
    told = (known.entry.actor_id, known.number, known.receiver)
    is_same = told == (by.pk, number.strip(), receiver.strip())
    if not is_same or not handed <= named:
        raise EntryConflict(f"The id {known.entry.uuid} was used with other content. Use a new one.")
    return known
