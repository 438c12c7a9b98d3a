"""What a service asks the book to take: flows, changes to containers, counts."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import Enum
from fractions import Fraction
from uuid import UUID

from inventory.models import Actor, Container, Entry, Material, Movement, Party, Place
from inventory.services.posting.keys import HeadKey, HoldingKey
from inventory.units import Amount


class Rest(Enum):
    """The amount that is whatever is there, resolved under the lock."""

    REST = "the rest"


REST = Rest.REST


@dataclass(frozen=True)
class End:
    """One end of a flow: a place, and the container there or none for loose goods."""

    place: Place
    container: Container | None = None

    @property
    def container_id(self) -> int:
        """The container's key, 0 for loose goods."""
        return self.container.pk if self.container else 0


@dataclass(frozen=True)
class Flow:
    """Goods going from one end to the other. Quantity in millionths of the material's stock unit.

    `value` (millionths of the currency) is given where goods come from outside or value alone moves;
    elsewhere the book knows what the goods cost where they leave, and `value_share` says which part of
    that goes along. `weight` is the share of a conversion's cost that a product of it carries. `lot` is
    the cost layer that a receipt opens.
    """

    material: Material
    quantity: int | Rest
    source: End
    target: End
    purpose: Movement.Purpose
    owner: Party
    value: int | None = None
    value_share: Fraction = Fraction(1)
    weight: int = 1
    lot: Container | None = None
    cause: str = ""
    entered: Amount | None = None

    def head_at(self, end: End) -> HeadKey:
        """What is locked for this flow at one of its ends."""
        return HeadKey(end.place.pk, self.material.pk, self.owner.pk)

    def key_at(self, end: End) -> HoldingKey:
        """The holding that this flow changes at one of its ends."""
        return HoldingKey(self.head_at(end), end.container_id)


@dataclass(frozen=True)
class ContainerWish:
    """What becomes of a container: a new place (all it holds goes along), state, contents' state."""

    container: Container
    place: Place | None = None
    state: str | None = None
    contents_state: str | None = None
    # What for its contents go along.
    purpose: Movement.Purpose = Movement.Purpose.MOVED


@dataclass(frozen=True)
class CountLine:
    """How much of a material was found at an end at the entry's moment."""

    end: End
    material: Material
    owner: Party
    quantity: int
    entered: Amount | None = None


@dataclass(frozen=True)
class Posting:
    """One entry as asked for.

    `is_plan` marks what a person means to do, which is refused when the goods are not there; everything
    else is a report of what happened and is taken. `holder` is whose promises may be used up.
    `new_containers` are saved with the entry, so that a retry makes none twice. A reversal is the opposite
    of what it undoes, unless it brings flows of its own.
    """

    uuid: UUID
    kind: Entry.Kind
    occurred_at: datetime
    by: Actor
    flows: tuple[Flow, ...] = ()
    wishes: tuple[ContainerWish, ...] = ()
    counts: tuple[CountLine, ...] = ()
    new_containers: tuple[Container, ...] = ()
    is_plan: bool = False
    holder: str = ""
    reason: str = ""
    document: str = ""
    reverses: Entry | None = None
    extra: dict[str, str] = field(default_factory=dict)
    # What a reversal finds gone further comes from variance; what was told wrongly does not stand for that.
    covers_missing: bool = False
    # Goods go where there most likely were none yet: rows are made at once instead of after a first try.
    opens_rows: bool = False
    # Looks at the entry as it was written, under the lock, and raises where it must not stand.
    check: Callable[[Entry], None] | None = None

    def fingerprint(self) -> str:
        """Hash of everything the client decides, so that a retry can be told from another request."""
        form = {
            "kind": self.kind.value,
            "occurred_at": self.occurred_at.astimezone(UTC).isoformat(),
            "is_plan": self.is_plan,
            "holder": self.holder,
            "reason": self.reason,
            "document": self.document,
            "reverses": self.reverses.key if self.reverses else None,
            # A reversal's flows are found by us, and differ when it is asked for again.
            "flows": [_flow_form(flow) for flow in self.flows] if self.reverses is None else [],
            "wishes": [
                [
                    wish.container.label,
                    wish.place.pk if wish.place else None,
                    wish.state,
                    wish.contents_state,
                ]
                for wish in self.wishes
            ],
            "counts": [
                [*_end_form(line.end), line.material.pk, line.owner.pk, line.quantity] for line in self.counts
            ],
            "extra": self.extra,
        }
        return hashlib.sha256(json.dumps(form, sort_keys=True).encode()).hexdigest()


def _end_form(end: End) -> list[object]:
    # The label, not the key: a retry of a receipt that made its containers names them before they have one.
    return [end.place.pk, end.container.label if end.container else None]


def _flow_form(flow: Flow) -> list[object]:
    return [
        flow.material.pk,
        flow.quantity.value if isinstance(flow.quantity, Rest) else flow.quantity,
        _end_form(flow.source),
        _end_form(flow.target),
        flow.purpose.value,
        flow.owner.pk,
        flow.value,
        str(flow.value_share),
        flow.weight,
        flow.lot.label if flow.lot else None,
        flow.cause,
        [str(flow.entered.value), flow.entered.unit] if flow.entered else None,
    ]
