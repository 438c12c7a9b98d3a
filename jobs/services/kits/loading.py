"""Loading a kit: goods go from the warehouse onto the day's truck, container by container."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Holding, Material, Party, Place, Reservation
from inventory.queries.company import get_company_party
from inventory.services.goods import transfer
from inventory.services.lines import Line
from inventory.services.posting import End, PromisedToAnother
from inventory.units import Amount, to_millionths
from jobs.errors import WorkRefused
from jobs.models import CrewDay, KitLoad, KitLoadLine
from jobs.queries.kit_yard import find_warehouse_places
from jobs.queries.pull_sheet import PullSheet, make_pull_sheet
from jobs.services.day_life import lock_crew_day, move_day
from jobs.services.needs import write_needs

State = CrewDay.State


class DayIsSettled(WorkRefused):
    """Nothing more is loaded for a day that is over."""

    code = "day_is_settled"


class ReasonIsMissing(BadInput):
    """What the sheet does not name is taken for a reason."""

    code = "reason_is_missing"


@dataclass(frozen=True)
class LoadedContainer:
    """A drum, tote, reel or empty vessel that went onto the truck with all in it."""

    container: Container
    instead_of: str = ""
    reason: str = ""


@dataclass(frozen=True)
class LoadedGoods:
    """An amount of a material that went onto the truck, out of a bin or a lot in it."""

    material: Material
    amount: Amount
    place: Place
    container: Container | None = None
    instead_of: str = ""
    reason: str = ""


@dataclass(frozen=True)
class LoadedKit:
    """What was loaded, under which entry, and the sheet as it stands now."""

    load: KitLoad
    sheet: PullSheet


@transaction.atomic
def load_kit(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    crew_code: str,
    date: date,
    containers: Sequence[LoadedContainer] = (),
    goods: Sequence[LoadedGoods] = (),
    is_complete: bool = False,
    as_report: bool = False,
) -> LoadedKit:
    """Move goods from the day's warehouse to its truck in one entry; the same id again changes nothing.

    The kit is loaded once nothing is left to take, or once it `is_complete` all the same. What the sheet
    does not name needs a reason. As a plan it is refused where goods are not there or promised to another
    crew; `as_report` tells of what has been loaded, which is taken as it is.
    """
    locked = lock_crew_day(crew_code=crew_code, date=date)
    day = CrewDay.objects.select_related("crew", "vehicle", "warehouse").get(pk=locked.pk)
    known = KitLoad.objects.filter(entry__uuid=id, crew_day=day).first()
    if known is None:
        _refuse(day, containers, goods, as_report=as_report)
    reasons = [*(row.reason for row in containers), *(row.reason for row in goods)]
    entry = transfer(
        id=id,
        by=by,
        occurred_at=occurred_at,
        containers=[(row.container, day.vehicle) for row in containers],
        lines=[
            Line(row.material, row.amount, End(row.place, row.container), End(day.vehicle, row.container))
            for row in goods
        ],
        as_report=as_report,
        holder=day.crew.holder,
        reason="; ".join(dict.fromkeys(reason for reason in reasons if reason)),
        document=f"kit:{crew_code}:{date.isoformat()}",
    )
    if known is not None:
        return LoadedKit(known, make_pull_sheet(day))
    load = _record(day, entry, by, containers, goods)
    sheet = make_pull_sheet(day)
    is_full = is_complete or all(not line.picks or not line.to_take for line in sheet.lines)
    for state in _states_on_the_way(day, is_full=is_full):
        move_day(day, state, by=by, occurred_at=occurred_at)
    write_needs([day])
    return LoadedKit(load, make_pull_sheet(day))


def _states_on_the_way(day: CrewDay, *, is_full: bool) -> list[str]:
    """Whoever loads a kit that nobody agreed has agreed it by that."""
    steps: list[str] = [State.AGREED] if day.state == State.PLANNED else []
    if is_full and day.state in (State.PLANNED, State.AGREED):
        steps.append(State.LOADED)
    return steps


def _refuse(
    day: CrewDay, containers: Sequence[LoadedContainer], goods: Sequence[LoadedGoods], *, as_report: bool
) -> None:
    if day.state == State.SETTLED:
        raise DayIsSettled(
            f"The day {day.date} of crew {day.crew} is settled; nothing more is loaded for it."
        )
    _refuse_strange_places(day, containers, goods, as_report=as_report)
    _refuse_without_reason(make_pull_sheet(day), containers, goods)
    if as_report:
        return
    promised = Reservation.objects.filter(container__in=[row.container.pk for row in containers])
    for row in promised.select_related("container"):
        if row.holder != day.crew.holder:
            raise PromisedToAnother(f"{row.container} is promised to {row.holder}. Choose another.")


def _refuse_strange_places(
    day: CrewDay, containers: Sequence[LoadedContainer], goods: Sequence[LoadedGoods], *, as_report: bool
) -> None:
    """A kit comes out of its own warehouse; from elsewhere goods are transferred or handed over."""
    own = find_warehouse_places(day.warehouse)
    faults = [
        Fault(
            f"/lines/{number}/place", row.place.code, f"is not in {day.warehouse}, where the kit comes from"
        )
        for number, row in enumerate(goods)
        if row.place.pk not in own
    ]
    faults += [
        Fault(
            f"/containers/{number}/container",
            row.container.label,
            f"does not stand in {day.warehouse}, where the kit comes from; have it handed over",
        )
        for number, row in enumerate(containers)
        if row.container.place_id not in own
    ]
    if faults:
        raise BadInput.of(faults)


def _refuse_without_reason(
    sheet: PullSheet, containers: Sequence[LoadedContainer], goods: Sequence[LoadedGoods]
) -> None:
    picks = [pick for line in sheet.lines for pick in [*line.picks, *line.there]]
    labels = {pick.container for pick in picks if pick.container}
    materials = {pick.material_code for pick in picks}
    unnamed = [
        (f"/containers/{number}", row.container.label, row.reason)
        for number, row in enumerate(containers)
        if row.container.label not in labels
    ]
    lines = [
        (f"/lines/{number}", row.material.code, row.reason)
        for number, row in enumerate(goods)
        if row.material.code not in materials
    ]
    message = "is not on the sheet; say for what reason it is taken"
    faults = [
        Fault(f"{pointer}/reason", name, message)
        for pointer, name, reason in [*unnamed, *lines]
        if not reason.strip()
    ]
    if faults:
        raise ReasonIsMissing.of(faults)


def _record(
    day: CrewDay,
    entry: Entry,
    by: Actor,
    containers: Sequence[LoadedContainer],
    goods: Sequence[LoadedGoods],
) -> KitLoad:
    load = KitLoad.objects.create(crew_day=day, entry=entry, by=by)
    company = get_company_party()
    rows = [_goods_row(load, row, company) for row in goods]
    held = _contents([row.container for row in containers])
    for row in containers:
        rows += _container_rows(load, row, held.get(row.container.pk, []), day)
    KitLoadLine.objects.bulk_create(rows)
    return load


def _goods_row(load: KitLoad, row: LoadedGoods, company: Party) -> KitLoadLine:
    return KitLoadLine(
        load=load,
        material=row.material,
        owner=row.container.owner if row.container is not None else company,
        container=row.container,
        quantity=to_millionths(row.amount, row.material.stock_unit),
        source_place=row.place,
        instead_of=row.instead_of,
        reason=row.reason,
    )


def _container_rows(
    load: KitLoad, row: LoadedContainer, contents: list[Holding], day: CrewDay
) -> list[KitLoadLine]:
    values = {
        "load": load,
        "container": row.container,
        # Where it was looked up to stand, before it was moved.
        "source_place": row.container.place or day.warehouse,
        "instead_of": row.instead_of,
        "reason": row.reason,
    }
    lines = [
        KitLoadLine(material=held.material, owner=held.owner, quantity=held.quantity, **values)
        for held in contents
    ]
    return lines or [KitLoadLine(material=None, owner=row.container.owner, quantity=0, **values)]


def _contents(containers: Sequence[Container]) -> dict[int, list[Holding]]:
    found: dict[int, list[Holding]] = {}
    rows = Holding.objects.filter(container__in=[row.pk for row in containers], quantity__gt=0)
    for row in rows.select_related("material", "owner"):
        assert row.container_id is not None
        found.setdefault(row.container_id, []).append(row)
    return found
