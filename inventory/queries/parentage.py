"""From where a container's contents came, and where they went, pour by pour.

Read off the movements, so that it cannot disagree with them. Entries that were reversed, and those that
reverse them, tell of nothing that happened and are left out.

A vessel's earlier fillings are among its parents though they have left it: something of each stays behind.
Through a conversion, every input is taken for a parent of every output, since the goods are mixed there;
of fluid recovered, only the fluid that it is the recovered form of. What went into a span or job is not
followed through it.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q, QuerySet

from inventory.models import Container, Material, Movement, Place


@dataclass(frozen=True)
class Pour:
    """Goods that went from one container or place to another, `depth` pours away from what was asked about.

    `source_container` and `target_container` are None where goods lay loose, in a span or outside; the
    places tell which. Through a conversion the material is the one at the end farther away.
    """

    depth: int
    at: datetime
    entry_key: int
    purpose: str
    material: Material
    quantity: int
    source_place: Place
    source_container: Container | None
    target_place: Place
    target_container: Container | None


@dataclass(frozen=True)
class Link:
    """One step: the movement at the near end, and the one at the far end (the same but for conversions)."""

    near: Movement
    far: Movement


def find_parents(container: Container) -> list[Pour]:
    """Return what came into the container, what came into that before, and so on; nearest first."""
    return _trace(container, is_backward=True)


def find_destinations(container: Container) -> list[Pour]:
    """Return where the container's contents went, and where they went from there; nearest first."""
    return _trace(container, is_backward=False)


def _trace(container: Container, *, is_backward: bool) -> list[Pour]:
    """Go from pour to pour, one question to the database a step, not one a container.

    Of each container only the time before it was poured out (or after it was poured into) counts.
    """
    pours: dict[tuple[int, int], Pour] = {}
    bounds: dict[int, datetime | None] = {container.pk: None}
    frontier = dict(bounds)
    depth = 0
    while frontier:
        depth += 1
        following: dict[int, datetime | None] = {}
        for link in list_links(frontier, is_backward=is_backward):
            near_id = link.near.target_container_id if is_backward else link.near.source_container_id
            far_id = link.far.source_container_id if is_backward else link.far.target_container_id
            at = link.near.effective_at
            assert near_id is not None
            if not _is_within(at, frontier[near_id], is_backward=is_backward):
                continue
            pours.setdefault((link.near.pk, link.far.pk), _make_pour(link, depth, is_backward=is_backward))
            if far_id is not None and _widens(at, far_id, bounds, is_backward=is_backward):
                bounds[far_id] = following[far_id] = at
        frontier = following
    return sorted(pours.values(), key=lambda pour: (pour.depth, pour.at, pour.entry_key))


def _is_within(at: datetime, bound: datetime | None, *, is_backward: bool) -> bool:
    return bound is None or (at <= bound if is_backward else at >= bound)


def _widens(at: datetime, far_id: int, bounds: dict[int, datetime | None], *, is_backward: bool) -> bool:
    """Whether more of the far container's time counts than was looked at already."""
    if far_id not in bounds:
        return True
    bound = bounds[far_id]
    return bound is not None and (at > bound if is_backward else at < bound)


def list_links(containers: Collection[int], *, is_backward: bool) -> list[Link]:
    """Return the single steps into (or out of) these containers, with a number of queries that is fixed."""
    near_side = "target_container" if is_backward else "source_container"
    far_place = "source_place" if is_backward else "target_place"
    # A container that is carried elsewhere holds what it held.
    is_carried = Q(source_container__isnull=False, source_container=F("target_container"))
    steps = list(real_movements().filter(Q(**{f"{near_side}__in": list(containers)}) & ~is_carried))
    converted = [step for step in steps if getattr(step, far_place).kind == Place.Kind.PROCESS]
    links = [Link(step, step) for step in steps if getattr(step, far_place).kind != Place.Kind.PROCESS]
    near_place = "target_place" if is_backward else "source_place"
    entries = {step.entry_id for step in converted}
    others = list(
        real_movements().filter(**{"entry__in": entries, f"{near_place}__kind": Place.Kind.PROCESS})
    )
    for step in converted:
        links += [
            Link(step, other)
            for other in others
            if other.entry_id == step.entry_id and _may_be_of(step, other, is_backward=is_backward)
        ]
    return links


def _may_be_of(step: Movement, other: Movement, *, is_backward: bool) -> bool:
    if step.purpose != Movement.Purpose.RECOVERED:
        return True
    fresh, recovered = (other, step) if is_backward else (step, other)
    # What had been recovered before and went in again comes back as itself.
    return fresh.material_id in {recovered.material.recovered_from_id, recovered.material_id}


def real_movements() -> QuerySet[Movement]:
    """Return what moved goods and was not undone, with what a pour tells of it."""
    rows = Movement.objects.filter(
        quantity__gt=0, entry__reverses__isnull=True, entry__reversed_by__isnull=True
    )
    return rows.select_related(
        "material", "source_place", "source_container", "target_place", "target_container"
    )


def _make_pour(link: Link, depth: int, *, is_backward: bool) -> Pour:
    source, target = (link.far, link.near) if is_backward else (link.near, link.far)
    return Pour(
        depth=depth,
        at=link.near.effective_at,
        entry_key=link.near.entry_id,
        purpose=link.near.purpose,
        material=link.far.material,
        quantity=link.far.quantity,
        source_place=source.source_place,
        source_container=source.source_container,
        target_place=target.target_place,
        target_container=target.target_container,
    )
