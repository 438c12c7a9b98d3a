"""What goods cost when they leave, and which cost layer they go to."""

from datetime import datetime
from fractions import Fraction
from typing import NoReturn

from inventory.models import Container, Material, Movement
from inventory.money import from_money_millionths
from inventory.services.posting.book import find_brought, find_last_unit_cost
from inventory.services.posting.errors import NothingToRevalue
from inventory.services.posting.keys import HeadKey, PoolKey
from inventory.services.posting.request import End, Flow
from inventory.services.posting.scribe import Scribe

Purpose = Movement.Purpose


def is_specific(material: Material) -> bool:
    """Whether each vessel or lot keeps its own cost."""
    return material.cost_formula == Material.CostFormula.SPECIFIC


def share_of(value: int, quantity: int, whole: int) -> int:
    """Return the value of a part, half-even; the last part takes all that is left."""
    if quantity == whole:
        return value
    return round(Fraction(value * quantity, whole)) if whole else 0


def move_goods(
    scribe: Scribe,
    flow: Flow,
    source: End,
    target: End,
    quantity: int,
    *,
    purpose: Purpose,
    value: int | None = None,
    share: Fraction = Fraction(1),
    at: datetime | None = None,
) -> int:
    """Draft goods moving from one end to the other, layer by layer; return the value that goes along."""
    layers = cost_layers(scribe, flow, source, target, quantity, value)
    moved = 0
    for lot_id, part, cost in layers:
        going = round(cost * share) if share != 1 else cost
        scribe.record(flow, source, target, part, going, lot_id, purpose=purpose, at=at)
        moved += going
    return moved


def settle(scribe: Scribe, flow: Flow, quantity: int, source: End, target: End, counted_at: datetime) -> None:
    """Take goods of a late entry out of, or add them to, the difference a later count found."""
    if quantity:
        move_goods(scribe, flow, source, target, quantity, purpose=Purpose.COUNT_SETTLED, at=counted_at)


def cost_layers(
    scribe: Scribe, flow: Flow, source: End, target: End, quantity: int, value: int | None
) -> list[tuple[int, int, int]]:
    """Split goods into (lot, quantity, value) as the material's cost formula says."""
    head = flow.head_at(source)
    if not flow.owner.is_company:
        return [(0, quantity, 0)]
    if value is not None and quantity == 0:
        if not source.place.keeps_stock and not target.place.keeps_stock:
            # Value between outside places, such as a price difference on goods that are gone.
            return [(0, 0, value)]
        return _value_layers(scribe, flow, source if source.place.keeps_stock else target, value)
    if value is not None and not source.place.keeps_stock:
        return [(_lot_for(scribe, flow, target), quantity, value)]
    if not source.place.keeps_stock:
        return [
            (_lot_for(scribe, flow, target), quantity, _outside_value(scribe, flow.material, head, quantity))
        ]
    if source.place == target.place:
        # A pour within a place leaves its pools alone; the value shown is the goods' share.
        totals = scribe.book.totals(head)
        return [(0, quantity, share_of(totals.value, quantity, totals.quantity))]
    return take_layers(scribe, flow, source, head, quantity)


def take_layers(
    scribe: Scribe, flow: Flow, source: End, head: HeadKey, quantity: int
) -> list[tuple[int, int, int]]:
    pools = scribe.book.pools_of(head)
    if flow.purpose == Purpose.RETURNED:
        # What comes back unused is what went out last.
        pools.reverse()
    preferred = flow.lot.pk if flow.lot else source.container_id if is_specific(flow.material) else None
    if preferred is not None:
        pools.sort(key=lambda item: item[0] != preferred)
    layers, left = [], quantity
    for lot_id, pool in pools:
        if not left:
            break
        part = min(left, pool.quantity)
        cost = share_of(pool.value, part, pool.quantity)
        if flow.purpose in {Purpose.RETURNED, Purpose.RECOVERED} and source.place.is_use:
            cost = min(cost, round(_unit_cost_brought(scribe, head, lot_id) * part))
        layers.append((lot_id, part, cost))
        left -= part
    if left:
        raise AssertionError(f"pools of {head} hold {left} less than the holdings")
    return layers


def _unit_cost_brought(scribe: Scribe, head: HeadKey, lot_id: int) -> Fraction:
    """Return what a unit cost on its way to a use place, on average, what this entry brought included.

    Where nothing at all was left of what came before, only this entry counts.
    """
    key = PoolKey(head, lot_id)
    if key not in scribe.brought:
        scribe.brought[key] = (0, 0) if scribe.book.pool(key).was_empty else find_brought(head, lot_id)
    quantity, value = scribe.brought[key]
    for row in scribe.draft.movements:
        end = (row.target_place_id, row.material_id, row.owner_id, row.lot_id or 0)
        if end == (*head, lot_id) and row.quantity:
            quantity, value = quantity + row.quantity, value + row.value
    return Fraction(value, quantity or 1)


def _value_layers(scribe: Scribe, flow: Flow, held: End, value: int) -> list[tuple[int, int, int]]:
    """Spread value that moves alone over the lots held.

    Put on by quantity, taken off by value: so that no lot is left with less than nothing.
    """
    pools = scribe.book.pools_of(flow.head_at(held))
    if flow.lot is not None:
        pools = [(lot_id, pool) for lot_id, pool in pools if lot_id == flow.lot.pk]
    if not pools and held.place.is_use:
        return [(_keep_at_work(scribe, flow, held, value), 0, value)]
    if not pools:
        raise NothingToRevalue(
            f"{held.place} holds no {flow.material}: there is nothing whose value could change."
        )
    is_taken_off = held == flow.source
    weights = [pool.value if is_taken_off else pool.quantity for _lot_id, pool in pools]
    whole = sum(weights)
    if is_taken_off and whole < value:
        _refuse_above_worth(flow, held, whole, value)
    layers, given, seen = [], 0, 0
    for (lot_id, _pool), weight in zip(pools, weights, strict=True):
        seen += weight
        upto = round(Fraction(value * seen, whole))
        layers.append((lot_id, 0, upto - given))
        given = upto
    return layers


def _keep_at_work(scribe: Scribe, flow: Flow, held: End, value: int) -> int:
    """Name the layer of work that used goods up: its cost can change though nothing is left of them there."""
    lot_id = flow.lot.pk if flow.lot is not None else 0
    whole = scribe.book.pool(PoolKey(flow.head_at(held), lot_id)).value
    if held == flow.source and whole < value:
        _refuse_above_worth(flow, held, whole, value)
    return lot_id


def _refuse_above_worth(flow: Flow, held: End, whole: int, value: int) -> NoReturn:
    raise NothingToRevalue(
        f"{flow.material} at {held.place} is worth {from_money_millionths(whole)}; "
        f"{from_money_millionths(value)} cannot be taken off."
    )


def _outside_value(scribe: Scribe, material: Material, head: HeadKey, quantity: int) -> int:
    """What goods cost that come back from outside: the pool's share where it has them, else the last cost."""
    pool = scribe.book.pool(PoolKey(head, 0))
    if pool.quantity >= quantity > 0 and pool.value >= 0:
        return share_of(pool.value, quantity, pool.quantity)
    return round(find_last_unit_cost(material, head.owner_id) * quantity)


def _lot_for(scribe: Scribe, flow: Flow, target: End) -> int:
    """Name the cost layer for goods that come in from outside."""
    material = flow.material
    if material.cost_formula == Material.CostFormula.WEIGHTED_AVERAGE or not target.place.keeps_stock:
        return 0
    if flow.lot is not None:
        return flow.lot.pk
    if target.container is not None and (
        target.container.kind == Container.Kind.LOT or is_specific(material)
    ):
        scribe.book.lots[target.container.pk] = target.container
        return target.container.pk
    newest = scribe.book.pools_of(flow.head_at(target))
    if newest and flow.purpose != Purpose.RECEIVED:
        return newest[-1][0]
    return _open_lot(scribe, flow)


def _open_lot(scribe: Scribe, flow: Flow) -> int:
    number = len(scribe.draft.movements) + 1
    lot = Container.objects.create(
        # The whole id: the first digits of some kinds of UUID are the time, and two entries may share it.
        label=f"{flow.material.code[:26]}-{scribe.posting.uuid.hex}-{number}",
        kind=Container.Kind.LOT,
        material=flow.material,
        owner=flow.owner,
        received_at=scribe.posting.occurred_at,
    )
    scribe.book.lots[lot.pk] = lot
    return lot.pk
