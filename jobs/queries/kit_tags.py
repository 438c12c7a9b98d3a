"""Tagged fittings for a kit: which pieces, so that none is planned past its limit of uses or age."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from inventory.models import Place, TaggedFitting
from inventory.queries.tagged_fittings import UsableFitting, find_usable_tagged_fittings
from inventory.units import MILLION, format_amount
from jobs.models import CrewDay, KitPolicy
from jobs.queries.kit_stock import KitStock, StockItem
from jobs.queries.need import Need, count

# Pieces without a tag wear out too, but nobody counts how often they are rigged.
UNCOUNTED = 10**6


@dataclass(frozen=True)
class _Piece:
    """One fitting that may be planned; `usable` is None for one without a tag."""

    is_on_truck: bool
    uses_left: int
    usable: UsableFitting | None = None


@dataclass
class ChosenPieces:
    """How many pieces may be counted on, on the truck and in the warehouse, and which tags they carry."""

    quantity: int
    on_truck: int
    in_warehouse: int
    tags: tuple[str, ...] = ()
    why: str = ""


@dataclass
class TaggedChoices:
    """Tags by place, and what of their uses the days served so far have planned."""

    usable: dict[int, list[UsableFitting]]
    # For each material and place, a bin's parent among them, how many pieces there carry a tag.
    tagged: dict[tuple[int, int], int]
    # Materials of which every piece must carry a tag: one without is not planned.
    must_carry: frozenset[int] = frozenset()
    _uses: dict[int, int] = field(default_factory=dict)
    _crews: dict[int, int] = field(default_factory=dict)

    def choose(self, need: Need, day: CrewDay, stock: KitStock, spans: int) -> ChosenPieces | None:
        """Choose pieces for so many spans; None where no piece of the material carries a tag, nor has to."""
        material = need.material
        if material is None:
            return None
        has_tags = any(key == material.pk for key, _place in self.tagged)
        if not has_tags and material.pk not in self.must_carry:
            return None
        on_truck, in_yard = stock.pieces(stock.truck, need), stock.pieces(stock.warehouse, need)
        truck = self._pieces(need, day, day.vehicle, on_truck, is_on_truck=True)
        yard = self._pieces(need, day, day.warehouse, in_yard, is_on_truck=False)
        wanted = need.quantity // MILLION
        chosen = _choose(truck, wanted, spans) or _choose([*truck, *yard], wanted, spans)
        pieces = chosen or [*truck, *yard]
        self._plan(pieces, day, spans)
        lacking = "" if chosen else _say_lacking(pieces, spans)
        if lacking and material.pk in self.must_carry:
            untagged = self._count_untagged(need, day.vehicle, on_truck)
            untagged += self._count_untagged(need, day.warehouse, in_yard)
            lacking += f" {count(untagged, 'piece')} without a tag may not be planned." if untagged else ""
        return ChosenPieces(
            quantity=max(wanted, len(pieces) + (1 if lacking else 0)) * MILLION,
            on_truck=sum(piece.is_on_truck for piece in pieces) * MILLION,
            in_warehouse=sum(not piece.is_on_truck for piece in pieces) * MILLION,
            tags=tuple(_describe(piece.usable) for piece in pieces if piece.usable is not None),
            why=lacking,
        )

    def _pieces(
        self, need: Need, day: CrewDay, place: Place, items: Sequence[StockItem], *, is_on_truck: bool
    ) -> list[_Piece]:
        assert need.material is not None
        tags = [
            _Piece(is_on_truck, self._left(row), row)
            for row in self.usable.get(place.pk, [])
            if row.fitting.material_id == need.material.pk
            and self._left(row) > 0
            and self._crews.get(row.fitting.pk, day.crew_id) == day.crew_id
        ]
        without = 0
        if need.material.pk not in self.must_carry:
            without = self._count_untagged(need, place, items)
        return [*tags, *([_Piece(is_on_truck, UNCOUNTED)] * without)]

    def _count_untagged(self, need: Need, place: Place, items: Sequence[StockItem]) -> int:
        assert need.material is not None
        held = sum(item.left for item in items) // MILLION
        return max(held - self.tagged.get((need.material.pk, place.pk), 0), 0)

    def _left(self, row: UsableFitting) -> int:
        left = UNCOUNTED if row.uses_left is None else row.uses_left
        return left - self._uses.get(row.fitting.pk, 0)

    def _plan(self, pieces: Sequence[_Piece], day: CrewDay, spans: int) -> None:
        """Set down that these go with this crew, the spans shared out among them as far as each lasts."""
        for piece in pieces:
            if piece.usable is None:
                continue
            part = min(piece.uses_left, spans)
            spans -= part
            self._uses[piece.usable.fitting.pk] = self._uses.get(piece.usable.fitting.pk, 0) + part
            self._crews[piece.usable.fitting.pk] = day.crew_id


def load_tagged_choices(days: Sequence[CrewDay]) -> TaggedChoices:
    """Read what carries a tag on the trucks and in the warehouse of these days."""
    places = {place.pk: place for day in days for place in (day.vehicle, day.warehouse)}
    tagged: dict[tuple[int, int], int] = {}
    for material, place, parent in TaggedFitting.objects.values_list("material", "place", "place__parent"):
        for key in {place, parent or 0} & set(places):
            tagged[material, key] = tagged.get((material, key), 0) + 1
    rows = KitPolicy.tagged_materials.through.objects.values_list("material_id", flat=True)
    must_carry = frozenset(rows)
    if not tagged:
        return TaggedChoices({}, {}, must_carry)
    usable = find_usable_tagged_fittings(places.values(), days[-1].date)
    return TaggedChoices(usable, tagged, must_carry)


def _choose(pieces: list[_Piece], wanted: int, spans: int) -> list[_Piece]:
    """The most worn pieces that last for the spans: as few as are wanted, more where their uses run out."""
    ordered = sorted(pieces, key=lambda piece: piece.uses_left)
    for start in range(len(ordered) - wanted + 1):
        window = ordered[start : start + wanted]
        if sum(piece.uses_left for piece in window) >= spans:
            return window
    for number in range(wanted, len(ordered) + 1):
        most = ordered[len(ordered) - number :]
        if sum(piece.uses_left for piece in most) >= spans:
            return most
    return []


def _describe(row: UsableFitting) -> str:
    parts = [row.fitting.tag]
    if row.uses_left is not None:
        parts.append(f"{row.uses_left} uses left" if row.uses_left != 1 else "1 use left")
    if row.days_left is not None:
        parts.append(f"{row.days_left} days left")
    pressure = row.approved_pressure_kpa
    parts.append(f"approved {format_amount(pressure, 'kPa')}" if pressure else "no limit approved")
    if row.needs_inspection:
        parts.append("inspect before rigging")
    return ", ".join(parts)


def _say_lacking(pieces: Sequence[_Piece], spans: int) -> str:
    uses = sum(piece.uses_left for piece in pieces)
    if not pieces:
        return " No fitting here is fit to be planned: past its limit, failed or held back."
    return f" Those that may be planned are good for {uses} more uses; {spans} are needed."
