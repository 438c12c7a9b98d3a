"""What recovered fluid has been through: how often it was injected, and whether it was caught or swept.

Read off the movements, pour by pour, like its parentage, but on through the spans: what came back from a
span had been in whatever was injected there before. What stood in a vessel before it was cleaned is left
out. Any number of containers takes as many questions as the longest history has steps.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime

from inventory.models import Container, ContainerChange, FluidCatch, Movement, Place
from inventory.queries.parentage import Link, list_links, real_movements

Kind = FluidCatch.Kind
# Fluid that went round more often than this is told as having gone round so often.
MOST_ROUNDS = 12


@dataclass
class FluidHistory:
    """`uses` counts the times that the most used part of it went through a span; 0 for fresh fluid.

    `kinds` are how its last way back went; both where caught and swept were mixed. `first_back_at` and
    `last_back_at` bound those ways back, `last_in_at` is when anything was put in last.
    """

    uses: int = 0
    kinds: set[str] = field(default_factory=set)
    first_back_at: datetime | None = None
    last_back_at: datetime | None = None
    last_in_at: datetime | None = None

    @property
    def kind(self) -> str:
        """Caught or swept, empty for fluid that never was in a span; a mixture counts as swept."""
        if Kind.SWEPT.value in self.kinds:
            return Kind.SWEPT.value
        return Kind.CAUGHT.value if self.kinds else ""


# Up to when what came into a container counts, by the container asked about and the one looked at.
_Frontier = dict[tuple[int, int], datetime | None]
# The same for places of use.
_Work = dict[tuple[int, int], datetime]


def get_history(container: Container) -> FluidHistory:
    """Return the history of one container's contents."""
    return find_histories([container.pk])[container.pk]


def find_histories(containers: Collection[int]) -> dict[int, FluidHistory]:
    """Return the history of the contents of each of these containers, by its key."""
    found = {key: FluidHistory() for key in containers}
    frontier: _Frontier = {(key, key): None for key in containers}
    rounds = 0
    while frontier and rounds <= MOST_ROUNDS:
        backs = _list_ways_back(frontier, found if rounds == 0 else None)
        if rounds == 0:
            _tell_kinds(backs, found)
        rounds += 1
        work: _Work = {}
        for root, link in backs:
            found[root].uses = rounds
            key = (root, link.far.source_place_id)
            work[key] = max(link.near.effective_at, work.get(key, link.near.effective_at))
        frontier = _list_injected(work)
    return found


def _list_ways_back(frontier: _Frontier, histories: dict[int, FluidHistory] | None) -> list[tuple[int, Link]]:
    """Follow pours backward until there are none; return the steps out of spans and runs, by root."""
    backs: list[tuple[int, Link]] = []
    seen: _Frontier = {}
    waiting = dict(frontier)
    while waiting:
        seen.update(waiting)
        links = list_links({container for _root, container in waiting}, is_backward=True)
        cleaned = _list_cleanings({container for _root, container in waiting})
        following: _Frontier = {}
        for root, container in waiting:
            bound = waiting[root, container]
            for link in _relevant(links, container, bound, cleaned.get(container, [])):
                if histories is not None and container == root:
                    _note_last_in(histories[root], link.near.effective_at)
                if link.near.purpose == Movement.Purpose.RECOVERED:
                    backs.append((root, link))
                    continue
                source = (root, link.far.source_container_id or 0)
                if source[1] and _reaches_later(link.near.effective_at, source, seen, following):
                    following[source] = link.near.effective_at
        waiting = following
    return backs


def _relevant(
    links: list[Link], container: int, bound: datetime | None, cleanings: list[datetime]
) -> Iterable[Link]:
    """Steps into a container before the bound and since it was last cleaned before that."""
    since = max((at for at in cleanings if bound is None or at < bound), default=None)
    for link in links:
        at = link.near.effective_at
        is_near = link.near.target_container_id == container
        if is_near and (bound is None or at <= bound) and (since is None or at >= since):
            yield link


def _reaches_later(at: datetime, key: tuple[int, int], *known: _Frontier) -> bool:
    """Whether more of a container's time counts than was looked at already."""
    for frontier in known:
        if key in frontier:
            bound = frontier[key]
            if bound is None or at <= bound:
                return False
    return True


def _note_last_in(history: FluidHistory, at: datetime) -> None:
    history.last_in_at = max(at, history.last_in_at or at)


def _list_cleanings(containers: Collection[int]) -> dict[int, list[datetime]]:
    rows = ContainerChange.objects.filter(
        container__in=containers, state_after=Container.State.CLEAN, entry__reversed_by__isnull=True
    ).exclude(state_before=Container.State.CLEAN)
    found: dict[int, list[datetime]] = {}
    for key, at in rows.values_list("container", "entry__occurred_at"):
        found.setdefault(key, []).append(at)
    return found


def _tell_kinds(backs: list[tuple[int, Link]], found: dict[int, FluidHistory]) -> None:
    """Say of each root how its contents came back; where nobody said, from a run means swept."""
    entries = {link.near.entry_id for _root, link in backs}
    told = {
        (row.entry_id, row.container_id): row.kind
        for row in FluidCatch.objects.filter(entry__in=entries)
    } if entries else {}  # fmt: skip
    for root, link in backs:
        is_run = link.far.source_place.kind == Place.Kind.RUN
        usual = Kind.SWEPT.value if is_run else Kind.CAUGHT.value
        history, at = found[root], link.near.effective_at
        history.kinds.add(told.get((link.near.entry_id, link.near.target_container_id or 0), usual))
        history.first_back_at = min(at, history.first_back_at or at)
        history.last_back_at = max(at, history.last_back_at or at)


def _list_injected(work: _Work) -> _Frontier:
    """Return the containers from which went into these places, or into the spans of these runs, before."""
    if not work:
        return {}
    places = {place for _root, place in work}
    rows = real_movements().filter(
        target_place__in=[*places, *Place.objects.filter(parent__in=places).values_list("pk", flat=True)],
        source_container__isnull=False,
        material__kind="fluid",
    )
    found: _Frontier = {}
    for row in rows:
        for root, place in work:
            until = work[root, place]
            if place not in {row.target_place_id, row.target_place.parent_id} or row.effective_at > until:
                continue
            key = (root, row.source_container_id or 0)
            bound = found.get(key)
            if bound is None or row.effective_at > bound:
                found[key] = row.effective_at
    return found
