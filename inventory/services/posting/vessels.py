"""Where vessels and reels stand, and in which state: changed with what they hold."""

from django.db.models import F

from inventory.models import Container, ContainerChange, Material, Movement, Party, Place
from inventory.services.posting.keys import HoldingKey
from inventory.services.posting.layers import move_goods
from inventory.services.posting.refusals import check_plan_source
from inventory.services.posting.request import ContainerWish, End, Flow
from inventory.services.posting.scribe import Scribe

Purpose = Movement.Purpose
WORSE_AND_WORSE = ("fresh", "fit", "tested", "strained", "caught", "spent")


def locate(scribe: Scribe, end: End, flow: Flow) -> End:
    """Return the end as the book should see it when a report tells of a vessel or reel there.

    Where the book has it elsewhere, here is where it is, unless it was moved or counted after the moment
    told of: then the word is old, and the goods are taken from where the vessel stands now.
    """
    if end.container is None or not end.container.stands_somewhere or scribe.posting.is_plan:
        return end
    container = scribe.book.containers[end.container.pk]
    if container.place_id == end.place.pk or not end.place.is_stock:
        return end
    if _is_old_word(scribe, container):
        assert container.place is not None
        return End(container.place, container)
    change_container(scribe, ContainerWish(container, place=end.place), purpose=Purpose.FOUND_HERE)
    return end


def _is_old_word(scribe: Scribe, container: Container) -> bool:
    """Whether the vessel was counted or moved after the moment told of: then that says where it stands."""
    return was_counted_since(scribe, container) or _was_moved_since(scribe, container)


def _was_moved_since(scribe: Scribe, container: Container) -> bool:
    """A move that was undone, and its undoing, are no moves."""
    return (
        ContainerChange.objects.filter(
            container=container,
            entry__occurred_at__gt=scribe.posting.occurred_at,
            entry__reversed_by__isnull=True,
            entry__reverses__isnull=True,
        )
        .exclude(source_place=F("target_place"))
        .exists()
    )


def note_opened(scribe: Scribe, flow: Flow) -> None:
    """Whoever draws from a sealed vessel has opened it; whoever pours into a clean one has soiled it."""
    for end, closed in ((flow.source, Container.State.SEALED), (flow.target, Container.State.CLEAN)):
        if end.container is not None and end.container.stands_somewhere:
            container = scribe.book.containers[end.container.pk]
            is_reel = container.kind == Container.Kind.REEL
            if container.state == closed and not is_reel and flow.purpose != Purpose.RECEIVED:
                change_container(
                    scribe, ContainerWish(container, state=Container.State.OPEN), purpose=Purpose.MOVED
                )


def note_contents(scribe: Scribe, flow: Flow, quantity: int) -> None:
    """What is poured brings its state along, what comes back from a span is a catch; mixed, the worse counts.

    Told under the lock and not by whoever asks, since a retry would see the state that the first try left.
    What is held back stays so in whatever it is poured into.
    """
    source, target = flow.source.container, flow.target.container
    if target is None or flow.purpose not in {Purpose.POURED, Purpose.RECOVERED}:
        return
    box = scribe.book.containers[target.pk]
    brought, is_held = Container.ContentsState.CAUGHT.value, False
    if flow.purpose == Purpose.POURED:
        if source is None:
            return
        poured = scribe.book.containers[source.pk]
        brought, is_held = poured.contents_state, poured.state == Container.State.HELD
    inside = sum(state.quantity for _key, state in scribe.book.contents_of(box.pk))
    state = mix_states(box.contents_state, brought) if inside > quantity else brought
    wish = ContainerWish(target, state=Container.State.HELD if is_held else None, contents_state=state)
    change_container(scribe, wish, purpose=Purpose.MOVED)


def mix_states(first: str, second: str) -> str:
    """Return the state of two fluids poured together: the worse one. A test speaks for no mixture."""
    if first == second:
        return first
    worse = max(first, second, key=WORSE_AND_WORSE.index)
    states = Container.ContentsState
    return states.STRAINED.value if worse == states.TESTED else worse


def change_container(scribe: Scribe, wish: ContainerWish, *, purpose: Purpose) -> None:
    """Draft what becomes of a container, and the move of all it holds where it goes elsewhere."""
    container = scribe.book.containers[wish.container.pk]
    before = (container.place, container.state, container.contents_state)
    goes = wish.place is not None and container.place is not None and wish.place != container.place
    if goes and not _is_old_word(scribe, container):
        assert wish.place is not None
        assert container.place is not None
        _carry_contents(scribe, container, container.place, wish.place, purpose)
        container.place = wish.place
    container.state = wish.state or container.state
    container.contents_state = wish.contents_state or container.contents_state
    record_change(scribe, container, before)


def was_counted_since(scribe: Scribe, container: Container) -> bool:
    """Whether anything in the vessel was counted after the moment told of."""
    moments = [
        state.counted_at
        for key, state in scribe.book.holdings.items()
        if key.container_id == container.pk and state.counted_at is not None
    ]
    return bool(moments) and scribe.posting.occurred_at < max(moments)


def _carry_contents(
    scribe: Scribe, container: Container, source: Place, target: Place, purpose: Purpose
) -> None:
    for key, state in scribe.book.contents_of(container.pk):
        if key.head.place_id != source.pk:
            continue
        material = Material.objects.get(pk=key.head.material_id)
        flow = Flow(
            material=material,
            quantity=state.quantity,
            source=End(source, container),
            target=End(target, container),
            purpose=purpose,
            owner=Party.objects.get(pk=key.head.owner_id),
        )
        if scribe.posting.is_plan:
            check_plan_source(scribe.book, flow, state.quantity, state.quantity, scribe.posting.holder)
        move_goods(scribe, flow, flow.source, flow.target, state.quantity, purpose=purpose)
        if purpose == Purpose.FOUND_HERE:
            scribe.mark_unsettled(flow.key_at(flow.target))
    _carry_flags(scribe, container, source, target)


def _carry_flags(scribe: Scribe, container: Container, source: Place, target: Place) -> None:
    """What is to be looked at in a vessel is to be looked at where the vessel is."""
    for key, state in list(scribe.book.holdings.items()):
        if key.container_id == container.pk and key.head.place_id == source.pk and state.is_unsettled:
            scribe.book.places[target.pk] = target
            scribe.mark_unsettled(HoldingKey(key.head._replace(place_id=target.pk), container.pk))
            left = scribe.book.holding(key)
            left.is_unsettled, left.is_changed = False, True


def record_change(scribe: Scribe, container: Container, before: tuple[Place | None, str, str]) -> None:
    """Draft the change of a container since `before`; an entry has one for each container."""
    place, state, contents_state = before
    for row in scribe.draft.changes:
        if row.container_id == container.pk:
            row.target_place = container.place
            row.state_after, row.contents_state_after = container.state, container.contents_state
            return
    if before != (container.place, container.state, container.contents_state):
        scribe.draft.changes.append(
            ContainerChange(
                container=container,
                source_place=place,
                target_place=container.place,
                state_before=state,
                state_after=container.state,
                contents_state_before=contents_state,
                contents_state_after=container.contents_state,
            )
        )
