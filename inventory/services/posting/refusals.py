"""When a plan is refused. A report of what happened never comes here."""

from inventory.models import Container, Holding, Material, Movement, Place
from inventory.services.posting.book import Book
from inventory.services.posting.errors import (
    ContainerElsewhere,
    ContainerHeldBack,
    ContainerHoldsOther,
    FluidNotFit,
    NotEnoughHeld,
    PromisedToAnother,
    TooMuchForContainer,
)
from inventory.services.posting.keys import HeadKey
from inventory.services.posting.request import End, Flow
from inventory.units import format_millionths


def check_plan_source(book: Book, flow: Flow, quantity: int, held: int, holder: str) -> None:
    """Refuse to take what is not there, stands elsewhere or is promised to someone else."""
    refuse_elsewhere(book, flow.source)
    _refuse_held_back(book, flow)
    _refuse_unfit(book, flow)
    source, material = flow.source, flow.material
    if held < quantity:
        where = f"{source.container} at {source.place}" if source.container else str(source.place)
        raise NotEnoughHeld(
            f"{where} holds {_show(held, material)} of {material}, {_show(quantity, material)} is asked for. "
            "Take less, take it from elsewhere, or count what is there."
        )
    promised = [
        row
        for row in book.reservations
        if row.holder != holder
        and (row.place_id, row.material_id, row.owner_id) == (source.place.pk, material.pk, flow.owner.pk)
    ]
    if source.container and any(row.container_id == source.container.pk for row in promised):
        holders = sorted({row.holder for row in promised if row.container_id == source.container.pk})
        raise PromisedToAnother(
            f"{source.container} is promised to {', '.join(holders)}. "
            "Take another, or have the promise lifted."
        )
    loose = sum(row.quantity for row in promised if row.container_id is None)
    on_hand = _free_quantity(book, flow, {row.container_id for row in promised if row.container_id})
    if on_hand - loose < quantity:
        raise NotEnoughHeld(
            f"Of {_show(on_hand, material)} of {material} at {source.place}, "
            f"{_show(loose, material)} is promised to others; {_show(quantity, material)} is asked for. "
            "Take less, or have a promise lifted."
        )


def _refuse_held_back(book: Book, flow: Flow) -> None:
    """Refuse to use or load what is held back; it may be set aside in another place, and disposed of."""
    if flow.source.container is None:
        return
    container = book.containers[flow.source.container.pk]
    is_set_aside = flow.source.container == flow.target.container
    is_set_aside &= flow.target.place.is_stock and flow.target.place.kind != Place.Kind.VEHICLE
    if container.state != Container.State.HELD or flow.purpose == Movement.Purpose.DISPOSED or is_set_aside:
        return
    raise ContainerHeldBack(
        f"{container} is held back. Take another; the safety role alone lifts a quarantine."
    )


def _refuse_unfit(book: Book, flow: Flow) -> None:
    """Refuse to charge fluid to work that came back from work and was not passed as fit since."""
    if flow.source.container is None or not flow.target.place.is_use:
        return
    container = book.containers[flow.source.container.pk]
    states = Container.ContentsState
    if flow.material.kind == Material.Kind.FLUID and container.contents_state not in (
        states.FRESH,
        states.FIT,
    ):
        state = container.get_contents_state_display()
        raise FluidNotFit(
            f"What is in {container} is {state} and not passed as fit for use. "
            "Strain and test it, or take fluid that is fit."
        )


def check_plan_target(book: Book, flow: Flow, quantity: int) -> None:
    """Refuse to pour into a vessel that stands elsewhere, holds something else or is too small."""
    refuse_elsewhere(book, flow.target)
    container = flow.target.container
    if container is None or not container.stands_somewhere:
        return
    contents = book.contents_of(container.pk)
    for key, _state in contents:
        if key.head.material_id != flow.material.pk:
            other = Material.objects.get(pk=key.head.material_id)
            raise ContainerHoldsOther(
                f"{container} holds {other}; {flow.material} cannot be poured onto it. "
                "Choose another container, or convert by a recipe."
            )
    inside = sum(state.quantity for _key, state in contents)
    capacity = container.capacity_for(flow.material)
    if capacity is not None and inside + quantity > capacity:
        raise TooMuchForContainer(
            f"{container} takes {_show(capacity, flow.material)} and holds "
            f"{_show(inside, flow.material)}; {_show(quantity, flow.material)} more does not fit."
        )


def refuse_elsewhere(book: Book, end: End) -> None:
    """Refuse to take from, or pour into, a vessel where it does not stand."""
    if end.container is None or not end.container.stands_somewhere:
        return
    container = book.containers[end.container.pk]
    if container.place_id != end.place.pk:
        raise ContainerElsewhere(
            f"{container} stands at {container.place}, not at {end.place}. "
            "Take it from there, or transfer it first."
        )


def _free_quantity(book: Book, flow: Flow, promised_containers: set[int]) -> int:
    """What lies at the source place, leaving out containers promised to others."""
    head = HeadKey(flow.source.place.pk, flow.material.pk, flow.owner.pk)
    whole = book.totals(head).quantity
    if not promised_containers:
        return whole
    promised = Holding.objects.filter(
        place=head.place_id, material=head.material_id, owner=head.owner_id, container__in=promised_containers
    )
    return whole - sum(promised.values_list("quantity", flat=True))


def _show(quantity: int, material: Material) -> str:
    return format_millionths(quantity, material.stock_unit)
