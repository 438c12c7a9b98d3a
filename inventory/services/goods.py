"""Goods of ours going between our places and the work: draw, return, transfer, drop, pick up, decant.

Each of them is either what a person means to do, and then refused when the goods are not there, or with
`as_report` what has happened, and then taken even where the book is short.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from inventory.errors import Fault
from inventory.models import Actor, Container, Entry, Movement, Place
from inventory.services.lines import BadLine, Line, post_lines, require_kind
from inventory.services.posting import ContainerWish

Purpose = Movement.Purpose


def draw(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    as_report: bool = False,
    holder: str = "",
    reason: str = "",
    document: str = "",
) -> Entry:
    """Charge goods to a job, run or span: used, or installed, lost or worn where a line says so."""
    return post_lines(
        id=id,
        kind=Entry.Kind.REPORT if as_report else Entry.Kind.DRAW,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Purpose.USED,
        source_kinds=Place.STOCK_KINDS,
        target_kinds=Place.USE_KINDS,
        is_plan=not as_report,
        holder=holder,
        reason=reason,
        document=document,
    )


def return_goods(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    reason: str = "",
    document: str = "",
) -> Entry:
    """Take back from a job, run or span what was not used, at the cost at which it went out."""
    return post_lines(
        id=id,
        kind=Entry.Kind.RETURN,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Purpose.RETURNED,
        source_kinds=Place.USE_KINDS,
        target_kinds=Place.STOCK_KINDS,
        is_plan=False,
        reason=reason,
        document=document,
    )


def transfer(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line] = (),
    containers: Sequence[tuple[Container, Place]] = (),
    as_report: bool = False,
    holder: str = "",
    reason: str = "",
    document: str = "",
) -> Entry:
    """Move goods, or whole containers with all they hold, from one of our places to another."""
    for number, (container, place) in enumerate(containers):
        require_kind(place, Place.STOCK_KINDS, pointer=f"/containers/{number}/place")
        if not container.stands_somewhere:
            message = "is a lot, which lies where its goods lie; move them by lines"
            raise BadLine.of([Fault(f"/containers/{number}/container", str(container), message)])
    return post_lines(
        id=id,
        kind=Entry.Kind.TRANSFER,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Purpose.MOVED,
        source_kinds=Place.STOCK_KINDS,
        target_kinds=Place.STOCK_KINDS,
        wishes=_moves(containers),
        is_plan=not as_report,
        holder=holder,
        reason=reason,
        document=document,
    )


def drop(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    site: Place,
    lines: Sequence[Line] = (),
    containers: Sequence[Container] = (),
    as_report: bool = False,
    reason: str = "",
) -> Entry:
    """Leave goods of a vehicle at a site, where they are still ours."""
    require_kind(site, {Place.Kind.SITE}, pointer="/site")
    return _move_between(
        source_kind=Place.Kind.VEHICLE,
        target=site,
        id=id,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        containers=containers,
        as_report=as_report,
        reason=reason or "dropped at the site",
    )


def pick_up(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    vehicle: Place,
    lines: Sequence[Line] = (),
    containers: Sequence[Container] = (),
    as_report: bool = False,
    reason: str = "",
) -> Entry:
    """Take goods that were left at a site back onto a vehicle."""
    require_kind(vehicle, {Place.Kind.VEHICLE}, pointer="/vehicle")
    return _move_between(
        source_kind=Place.Kind.SITE,
        target=vehicle,
        id=id,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        containers=containers,
        as_report=as_report,
        reason=reason or "picked up at the site",
    )


def _move_between(
    *,
    source_kind: Place.Kind,
    target: Place,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    containers: Sequence[Container],
    as_report: bool,
    reason: str,
) -> Entry:
    """Move goods between vehicle and site, each of which takes only what comes from the other kind."""
    return post_lines(
        id=id,
        kind=Entry.Kind.TRANSFER,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Purpose.MOVED,
        source_kinds={source_kind},
        target_kinds={Place.Kind(target.kind)},
        wishes=_moves([(container, target) for container in containers]),
        is_plan=not as_report,
        reason=reason,
    )


def decant(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    as_report: bool = False,
    holder: str = "",
    reason: str = "",
) -> Entry:
    """Pour from container to container; each movement names both, so every pour keeps its parentage.

    The state of the contents goes along.
    """
    return post_lines(
        id=id,
        kind=Entry.Kind.TRANSFER,
        by=by,
        occurred_at=occurred_at,
        lines=lines,
        purpose=Purpose.POURED,
        source_kinds=Place.STOCK_KINDS,
        target_kinds=Place.STOCK_KINDS,
        is_plan=not as_report,
        holder=holder,
        reason=reason,
    )


def _moves(containers: Sequence[tuple[Container, Place]]) -> tuple[ContainerWish, ...]:
    return tuple(ContainerWish(container, place=place) for container, place in containers)
