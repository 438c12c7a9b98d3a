"""One thing made of others: by recipe, or fluid recovered from what was injected."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Place, Recipe
from inventory.services.lines import REST, BadLine, Line, OwnersDiffer, owner_at, quantity_of, require_kind
from inventory.services.posting import ContainerWish, End, Flow, Posting, Rest, post
from inventory.services.posting.special_places import get_special_place
from inventory.units import Amount, from_millionths


class NotRecoverable(BadInput):
    """The fluid is not the recovered form of any other."""

    code = "not_recoverable"


@dataclass(frozen=True)
class Caught:
    """Fluid that came back from a span or run into a container of ours.

    `injected` is what went in there where that was not the fresh fluid but one recovered before.
    """

    material: Material
    amount: Amount
    source: Place
    target: End
    injected: Material | None = None


def convert(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    inputs: Sequence[Line],
    outputs: Sequence[Line],
    wishes: Sequence[ContainerWish] = (),
    as_report: bool = False,
    reason: str = "",
    document: str = "",
) -> Entry:
    """Turn goods into others; what the inputs cost is what the outputs cost, shared by quantity.

    The inner end of each line (an input's target, an output's source) is the conversion itself and is
    filled in here. `wishes` are what becomes of containers, such as the state of what is in them then. A
    line whose purpose is to be lost carries no cost: what is left in a strainer is worth nothing.
    """
    process = End(get_special_place(Place.Kind.PROCESS))
    _check_sides(inputs, outputs)
    flows = []
    for name, lines in (("inputs", inputs), ("outputs", outputs)):
        for number, line in enumerate(lines):
            ours = line.source if name == "inputs" else line.target
            require_kind(ours.place, Place.STOCK_KINDS, pointer=f"/{name}/{number}")
            quantity = quantity_of(line.amount, line.material, pointer=f"/{name}/{number}/amount")
            flows.append(
                Flow(
                    material=line.material,
                    quantity=quantity,
                    source=ours if name == "inputs" else process,
                    target=process if name == "inputs" else ours,
                    purpose=Movement.Purpose.CONVERTED,
                    owner=owner_at(ours),
                    weight=_weight(line, quantity),
                    entered=line.amount if isinstance(line.amount, Amount) else None,
                )
            )
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.CONVERSION,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        wishes=tuple(wishes),
        is_plan=not as_report,
        reason=reason,
        document=document,
    )
    return post(posting)


def _weight(line: Line, quantity: int | Rest) -> int:
    if line.purpose == Movement.Purpose.LOST:
        return 0
    return quantity if isinstance(quantity, int) else 1


def _check_sides(inputs: Sequence[Line], outputs: Sequence[Line]) -> None:
    """See that something is made of something, and that it stays with its owner."""
    if not inputs or not outputs:
        raise BadLine("A conversion needs at least one input and one output; dispose of what became nothing.")
    for number, line in enumerate(outputs):
        if line.amount is REST:
            message = "must say how much was made; the rest can only be taken"
            raise BadLine.of([Fault(f"/outputs/{number}/amount", "the rest", message)])
    owners = {owner_at(line.source) for line in inputs} | {owner_at(line.target) for line in outputs}
    if len(owners) > 1:
        names = " and ".join(sorted(owner.name for owner in owners))
        raise OwnersDiffer(f"Goods of {names} cannot be made into one another. Goods stay with their owner.")


def convert_by_recipe(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    recipe: Recipe,
    times: int,
    place: Place,
    containers: dict[int, Container] | None = None,
    targets: dict[int, Container] | None = None,
    wishes: Sequence[ContainerWish] = (),
    as_report: bool = False,
    reason: str = "",
) -> Entry:
    """Make a recipe a whole number of times from what lies at a place.

    `containers` names, by material key, the container that a material is taken from or put into; `targets`
    the one that it is put into where that is another.
    """
    if times < 1:
        raise BadInput(f"A recipe is made once or more often, not {times} times.")
    chosen, put_into = containers or {}, {**(containers or {}), **(targets or {})}
    sides: dict[bool, list[Line]] = {False: [], True: []}
    for part in recipe.lines.select_related("material").order_by("pk"):
        unit = part.material.stock_unit
        end = End(place, (put_into if part.is_output else chosen).get(part.material_id))
        amount = Amount(from_millionths(part.quantity * times, unit), unit)
        sides[part.is_output].append(Line(part.material, amount, end, end))
    return convert(
        id=id,
        by=by,
        occurred_at=occurred_at,
        inputs=sides[False],
        outputs=sides[True],
        wishes=wishes,
        as_report=as_report,
        reason=reason or f"{recipe.name}, {times} times",
    )


def recover(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    caught: Sequence[Caught],
    reason: str = "",
    document: str = "",
) -> Entry:
    """Take back fluid from spans and runs as its recovered form.

    As much of the fresh fluid leaves the span as came back; it brings the share of its cost that the
    recovered material's policy says, the rest stays with the span.
    """
    process = End(get_special_place(Place.Kind.PROCESS))
    flows: list[Flow] = []
    for number, line in enumerate(caught):
        flows += _recovery_flows(line, process, pointer=f"/caught/{number}")
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.REPORT,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        reason=reason,
        document=document,
    )
    return post(posting)


def _recovery_flows(line: Caught, process: End, *, pointer: str) -> list[Flow]:
    require_kind(line.source, Place.USE_KINDS, pointer=f"{pointer}/source")
    require_kind(line.target.place, Place.STOCK_KINDS, pointer=f"{pointer}/target")
    fresh = line.injected or line.material.recovered_from
    if fresh is None or line.material.recovered_from is None:
        raise NotRecoverable(f"{line.material} is not the recovered form of a fluid.")
    if line.material.recovered_from_id not in {fresh.pk, fresh.recovered_from_id}:
        raise NotRecoverable(f"{line.material} does not come of {fresh}. Name what was injected there.")
    owner = owner_at(line.target)
    purpose = Movement.Purpose.RECOVERED
    quantity = quantity_of(line.amount, line.material, pointer=f"{pointer}/amount")
    left = quantity_of(line.amount, fresh, pointer=f"{pointer}/amount")
    share = Fraction(line.material.recovered_value_share, 10**6)
    return [
        Flow(fresh, left, End(line.source), process, purpose, owner, value_share=share, entered=line.amount),
        Flow(line.material, quantity, process, line.target, purpose, owner, weight=1, entered=line.amount),
    ]
