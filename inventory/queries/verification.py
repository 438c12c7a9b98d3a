"""Adding the book up again, from the first movement on, and comparing."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from inventory.models import (
    ChainHead,
    Container,
    CostPool,
    CountReading,
    DomainEvent,
    Entry,
    Holding,
    Movement,
    Place,
    Seal,
    Unsealed,
)
from inventory.models.triggers import find_missing_triggers
from inventory.queries.canonical import FIRST_HASH, FORM_VERSION, chain_hash, entry_forms, event_form
from inventory.queries.chain_heads import KeptHead, is_on_chain

CHUNK = 2000
Progress = Callable[[str, int, int], None]
HoldingSums = dict[tuple[int, int, int, int], int]
PoolSums = dict[tuple[int, int, int, int], tuple[int, int]]


@dataclass(frozen=True)
class Difference:
    """One thing that is not as the movements say it should be."""

    subject: str
    message: str


@dataclass(frozen=True)
class BookSize:
    """How much there is to verify, and the hash that stands for all of it."""

    entries: int
    movements: int
    sealed: int
    waiting: int
    head: str


def measure_book() -> BookSize:
    """Count the book's rows and read the head of its chain."""
    head = ChainHead.objects.filter(pk=1).values_list("hash", flat=True).first()
    return BookSize(
        entries=Entry.objects.count(),
        movements=Movement.objects.count(),
        sealed=Seal.objects.count(),
        waiting=Unsealed.objects.count(),
        head=head or FIRST_HASH,
    )


def verify_ledger(
    progress: Progress = lambda _name, _done, _total: None, *, kept_heads: Sequence[KeptHead] = ()
) -> Iterator[Difference]:
    """Yield every difference; none at all means that the book is whole.

    `kept_heads` left the house before: a chain that was recomputed since does not hold them.

    Reads every movement once, in a stream: memory grows with the number of holdings, not of movements.
    """
    for name in find_missing_triggers(connection):
        yield Difference(
            "trigger", f"The trigger {name} is missing or was changed: rows could be altered. Run migrate."
        )
    holdings, pools, rule_breaks = _add_up(progress)
    yield from rule_breaks
    yield from _compare_holdings(holdings)
    yield from _compare_pools(pools)
    yield from _compare_heads(holdings, pools)
    yield from _check_containers()
    yield from _check_chain(progress)
    for head in kept_heads:
        if not is_on_chain(head):
            yield Difference(
                "kept head", f"The chain does not hold {head}: it was made anew since that was told."
            )


def _add_up(progress: Progress) -> tuple[HoldingSums, PoolSums, list[Difference]]:
    holdings: dict[tuple[int, int, int, int], int] = defaultdict(int)
    quantities: dict[tuple[int, int, int, int], int] = defaultdict(int)
    values: dict[tuple[int, int, int, int], int] = defaultdict(int)
    kept, process = set(), set()
    for place in Place.objects.all():
        if place.keeps_stock:
            kept.add(place.pk)
        elif place.kind == Place.Kind.PROCESS:
            process.add(place.pk)
    breaks: list[Difference] = []
    in_conversion: dict[int, int] = defaultdict(int)
    total = Movement.objects.count()
    rows = Movement.objects.order_by("pk").values_list(
        "material_id", "owner_id", "source_place_id", "source_container_id", "target_place_id",
        "target_container_id", "lot_id", "quantity", "value", "purpose", "entry__kind", "owner__is_company",
        "entry_id",
    )  # fmt: skip
    for number, row in enumerate(rows.iterator(chunk_size=CHUNK), start=1):
        material, owner, source, source_box, target, target_box, lot, quantity, value = row[:9]
        for place_id, box, sign in ((source, source_box, -1), (target, target_box, 1)):
            holdings[place_id, material, owner, box or 0] += sign * quantity
            pool = (place_id, material, owner, (lot or 0) if place_id in kept else 0)
            quantities[pool] += sign * quantity
            values[pool] += sign * value
            if place_id in process:
                in_conversion[row[-1]] += sign * value
                if not in_conversion[row[-1]]:
                    # Forgotten once it balances, so that memory does not grow with the conversions made.
                    del in_conversion[row[-1]]
        breaks += _check_rules(quantity, value, *row[9:])
        if number % CHUNK == 0 or number == total:
            progress("movements", number, total)
    breaks += [
        Difference("movement", f"The conversion in entry {entry} keeps {value} of value.")
        for entry, value in in_conversion.items()
    ]
    sums = {pool: (quantities[pool], values[pool]) for pool in quantities}
    return holdings, sums, breaks


def _check_rules(
    quantity: int, value: int, purpose: str, kind: str, is_company: bool, entry: int
) -> list[Difference]:
    found = []
    may_move_value = kind == Entry.Kind.REVALUATION or purpose == Movement.Purpose.PRICE_VARIANCE
    if not quantity and not may_move_value:
        found.append(
            Difference("movement", f"Entry {entry} moves value without goods; only a revaluation may.")
        )
    if value and not is_company:
        found.append(Difference("movement", f"Entry {entry} gives a value to goods of others."))
    return found


def _compare_holdings(sums: HoldingSums) -> Iterator[Difference]:
    counted = _latest_counts()
    seen = set()
    for row in Holding.objects.select_related("place", "material", "container").iterator(chunk_size=CHUNK):
        key = (row.place_id, row.material_id, row.owner_id, row.container_id or 0)
        seen.add(key)
        what = f"{row.material} at {row.place}" + (f" in {row.container}" if row.container else "")
        if row.key != ":".join(map(str, key)):
            yield Difference("holding", f"{what} is filed under the wrong key {row.key}.")
        if row.quantity != sums.get(key, 0):
            yield Difference("holding", f"{what}: kept {row.quantity}, movements say {sums.get(key, 0)}.")
        if row.counted_at != counted.get(key):
            yield Difference("holding", f"{what}: counted {row.counted_at}, readings say {counted.get(key)}.")
        if row.is_kept != row.place.keeps_stock:
            yield Difference("holding", f"{what}: is_kept is {row.is_kept}, the place's kind says otherwise.")
    for key in sorted(key for key, quantity in sums.items() if quantity and key not in seen):
        yield Difference("holding", f"Movements leave {sums[key]} at {key}, but no holding is kept.")


def _latest_counts() -> dict[tuple[int, int, int, int], datetime]:
    counted: dict[tuple[int, int, int, int], datetime] = {}
    rows = CountReading.objects.filter(entry__reversed_by__isnull=True).values_list(
        "place_id", "material_id", "owner_id", "container_id", "counted_at"
    )
    for place, material, owner, container, at in rows.iterator(chunk_size=CHUNK):
        key = (place, material, owner, container or 0)
        counted[key] = max(at, counted.get(key, at))
    return counted


def _compare_pools(sums: PoolSums) -> Iterator[Difference]:
    seen = set()
    for row in CostPool.objects.select_related("place", "material", "lot").iterator(chunk_size=CHUNK):
        key = (row.place_id, row.material_id, row.owner_id, row.lot_id or 0)
        seen.add(key)
        said = sums.get(key, (0, 0))
        what = f"{row.material} at {row.place}" + (f" of {row.lot}" if row.lot else "")
        if row.key != ":".join(map(str, key)):
            yield Difference("cost pool", f"{what} is filed under the wrong key {row.key}.")
        if (row.quantity, row.value) != said:
            yield Difference(
                "cost pool",
                f"{what}: kept {row.quantity} worth {row.value}, movements say {said[0]} worth {said[1]}.",
            )
    for key in sorted(key for key, said in sums.items() if said != (0, 0) and key not in seen):
        yield Difference("cost pool", f"Movements leave {sums[key]} at {key}, but no pool is kept.")


def _compare_heads(holdings: HoldingSums, pools: PoolSums) -> Iterator[Difference]:
    heads: dict[tuple[int, int, int], int] = defaultdict(int)
    for (place, material, owner, _container), quantity in holdings.items():
        heads[place, material, owner] += quantity
    for (place, material, owner, _lot), (quantity, _value) in pools.items():
        heads[place, material, owner] -= quantity
    for head, difference in sorted(heads.items()):
        if difference:
            yield Difference("cost pool", f"Holdings and cost pools of {head} differ by {difference}.")


def _check_containers() -> Iterator[Difference]:
    """What a vessel holds is where the vessel stands."""
    rows = Holding.objects.exclude(quantity=0).exclude(container__kind=Container.Kind.LOT)
    for row in rows.filter(container__isnull=False).select_related("place", "container__place"):
        if row.container is not None and row.place_id != row.container.place_id:
            yield Difference(
                "container",
                f"{row.container} stands at {row.container.place}, but holds {row.quantity} at {row.place}.",
            )


def _check_chain(progress: Progress) -> Iterator[Difference]:
    previous, expected = FIRST_HASH, 0
    total = Seal.objects.count()
    while seals := list(Seal.objects.filter(sequence__gt=expected).order_by("sequence")[:CHUNK]):
        forms = _forms_of(seals)
        for seal in seals:
            expected += 1
            if seal.sequence != expected:
                yield Difference("seal", f"The chain goes from {expected - 1} to {seal.sequence}.")
                expected = seal.sequence
            link = chain_hash(previous, forms[seal.sequence], seal.sealed_at)
            if seal.form_version != FORM_VERSION or link != seal.hash:
                yield Difference("seal", f"What was sealed as number {seal.sequence} has been changed since.")
            # Going on from the stored hash tells every changed row apart instead of all that follow it.
            previous = seal.hash
        progress("seals", expected, total)
    head = ChainHead.objects.filter(pk=1).first()
    if head is not None and (head.sequence, head.hash) != (expected, previous):
        yield Difference("seal", f"The chain's head says {head.sequence}, its last link is {expected}.")
    yield from _check_coverage()


def _forms_of(seals: list[Seal]) -> dict[int, str]:
    entries = Entry.objects.in_bulk([seal.entry_id for seal in seals if seal.entry_id is not None])
    by_entry = entry_forms(list(entries.values()))
    events = DomainEvent.objects.in_bulk([seal.event_id for seal in seals if seal.event_id is not None])
    return {
        seal.sequence: by_entry.get(seal.entry_id, "")
        if seal.entry_id is not None
        else (event_form(events[seal.event_id]) if seal.event_id in events else "")
        for seal in seals
    }


def _check_coverage() -> Iterator[Difference]:
    loose = Entry.objects.filter(seal__isnull=True, unsealed__isnull=True).order_by("key")
    for entry in loose[:20]:
        yield Difference("seal", f"The {entry} is neither sealed nor waiting to be.")
    for event in DomainEvent.objects.filter(seal__isnull=True, unsealed__isnull=True).order_by("pk")[:20]:
        yield Difference("seal", f"The event {event} is neither sealed nor waiting to be.")
    both = Unsealed.objects.filter(entry__seal__isnull=False).count()
    if both:
        yield Difference("seal", f"{both} entries are sealed and still waiting to be.")
