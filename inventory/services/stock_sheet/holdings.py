"""What each row says is held, and whether the book has seen it before."""

from dataclasses import dataclass
from fractions import Fraction

from inventory.models import Container, CostPool, Holding, Material, Party, Place
from inventory.money import LARGEST_MILLIONTHS, to_money_millionths
from inventory.services.posting.book import find_last_unit_cost
from inventory.services.posting.keys import HeadKey
from inventory.services.stock_sheet.containers import OF_ONE_MATERIAL, Containers, show_capacity
from inventory.services.stock_sheet.known import CHUNK
from inventory.services.stock_sheet.materials import Materials
from inventory.services.stock_sheet.parties import Parties
from inventory.services.stock_sheet.places import Places
from inventory.services.stock_sheet.rows import StockRows, fold_code, in_chunks
from inventory.sheets import Record
from inventory.units import Amount, WrongDimension, convert


@dataclass
class StockLine:
    """One row's holding. `material` is None for an empty vessel that is bought for any fluid."""

    record: Record
    material: Material | None
    place: Place
    container: Container | None
    owner: Party
    amount: Amount
    quantity: int
    is_seen: bool = False
    cost: int = 0

    @property
    def is_new_container(self) -> bool:
        return self.container is not None and self.container.pk is None

    def key(self) -> str | None:
        """The key of the holding, where all that it is made of is in the book."""
        material = self.material.pk if self.material else None
        box = self.container.pk if self.container else 0
        if not (self.place.pk and material and self.owner.pk) or box is None:
            return None
        return HeadKey(self.place.pk, material, self.owner.pk).text(box)


class StockLines:
    """The holdings of all rows, with the faults that only their parts together show."""

    def __init__(
        self, rows: StockRows, materials: Materials, places: Places, parties: Parties, containers: Containers
    ) -> None:
        self.rows = rows
        self.materials, self.places = materials, places
        self.parties, self.containers = parties, containers
        read = (self._read(record) for record in rows.records)
        self.lines = [line for line in read if line is not None]
        self._refuse_same_twice()
        mark_seen(self.lines)
        self._last_costs: dict[int, Fraction] = {}
        for line in self.lines:
            line.cost = self._find_cost(line)
        self._check_totals()

    def _read(self, record: Record) -> StockLine | None:
        if record["quantity"] is None and "quantity" not in record.refused:
            self._check_introduction(record)
            return None
        if not record["place"]:
            self.rows.complain(record, "place", "is empty; say where this lies")
            return None
        if not (record["material"] or record["container"]):
            self.rows.complain(record, "material", "is empty; say what this is")
            return None
        place, container = self.places.find(record["place"]), self.containers.find(record["container"])
        material = self._material_of(record, container)
        is_missing = (record["container"] and container is None) or (record["material"] and material is None)
        if place is None or is_missing:
            return None
        return self._make_line(record, material, place, container)

    def _check_introduction(self, record: Record) -> None:
        if record["container"]:
            self.rows.complain(record, "quantity", "is empty; write 0 for an empty vessel")
        elif record["unit_cost"] is not None:
            self.rows.complain(
                record, "quantity", "is empty, and the row has a unit cost; say how much it is"
            )
        elif record.is_sound and not any(
            record[column] for column in ("material", "place", "supplier", "owner")
        ):
            self.rows.complain(record, "material", "is empty, and so is all that the row could be about")

    def _material_of(self, record: Record, container: Container | None) -> Material | None:
        if record["material"]:
            return self.materials.find(record["material"])
        if container is not None and container.kind in OF_ONE_MATERIAL:
            return container.material
        return None

    def _make_line(
        self, record: Record, material: Material | None, place: Place, container: Container | None
    ) -> StockLine | None:
        unit = material.stock_unit if material else "L"
        amount, quantity = self.rows.read_in_stock_unit(record, "quantity", unit)
        if amount is None or quantity is None:
            return None
        if material is None and quantity:
            self.rows.complain(record, "material", "is empty, and the vessel is not; say what is in it")
            return None
        owner = container.owner if container else self.parties.find_owner(record) or self.parties.company
        if container is None and not owner.is_company:
            message = "is not the company; goods of others need a container or a lot of their own"
            self.rows.complain(record, "owner", message)
            return None
        self._check_capacity(record, container, material, quantity)
        return StockLine(record, material, place, container, owner, amount, quantity)

    def _check_capacity(
        self, record: Record, container: Container | None, material: Material | None, quantity: int
    ) -> None:
        if container is None or material is None or record["capacity"] is None:
            return
        capacity = container.capacity_for(material)
        if capacity is not None and quantity > capacity:
            message = f"is more than its capacity of {show_capacity(container)}; one of them is wrong"
            self.rows.complain(record, "quantity", message)

    def _refuse_same_twice(self) -> None:
        first: dict[tuple[str, str], Record] = {}
        for line in self.lines:
            if line.container is None and line.material is not None:
                key = (fold_code(line.place.code), fold_code(line.material.code))
                earlier = first.setdefault(key, line.record)
                if earlier is not line.record:
                    message = f"is in {line.place.code} on line {earlier.line} already; give one row for both"
                    self.rows.complain(line.record, "material", message)

    def _find_cost(self, line: StockLine) -> int:
        """What the goods of a first sight cost: as the row says, else what a unit last cost."""
        record, unit_cost = line.record, line.record["unit_cost"]
        if not line.owner.is_company:
            if unit_cost:
                message = f"is of goods of {line.owner.code}, which have no cost here; leave the cell empty"
                self.rows.complain(record, "unit_cost", message)
            return 0
        if line.is_seen or not line.quantity or line.material is None:
            return 0
        if unit_cost is None:
            return self._cost_from_the_book(line, line.material)
        try:
            unit = self.rows.unit_of_row(record, line.material.stock_unit)
            in_unit = convert(line.amount.value, line.amount.unit, unit)
        except WrongDimension as refused:
            self.rows.complain(record, "unit_cost", refused.message)
            return 0
        return round(to_money_millionths(unit_cost) * in_unit)

    def _cost_from_the_book(self, line: StockLine, material: Material) -> int:
        if material.pk and material.pk not in self._last_costs:
            self._last_costs[material.pk] = find_last_unit_cost(material, line.owner.pk)
        last = self._last_costs.get(material.pk, Fraction(0))
        if not last:
            message = "is empty; stock that is seen for the first time needs a cost, 0 if it has none"
            self.rows.complain(line.record, "unit_cost", message)
        return round(last * line.quantity)

    def _check_totals(self) -> None:
        """Keep sums within what the book's whole numbers hold, since every row by itself may be in range."""
        for column, amounts in (
            ("quantity", [line.quantity for line in self.lines]),
            ("unit_cost", [line.cost for line in self.lines]),
        ):
            total = 0
            for line, amount in zip(self.lines, amounts, strict=True):
                total += amount
                if total > LARGEST_MILLIONTHS:
                    self.rows.complain(line.record, column, "makes all rows together more than can be kept")
                    break


def mark_seen(lines: list[StockLine]) -> None:
    """Mark what the book has seen: that very holding, or goods of that kind and that container.

    A known drum in which the book has nothing of a known material is not opened anew: what is found in it
    came from somewhere in the house, and is a difference.
    """
    by_key = {line.key(): line for line in lines}
    keys = [key for key in by_key if key is not None]
    seen: set[str] = set()
    for chunk in in_chunks(keys, CHUNK):
        seen.update(Holding.objects.filter(key__in=chunk).values_list("key", flat=True))
    materials = {line.material.pk for line in lines if line.material and line.material.pk}
    held: set[tuple[int, int]] = set()
    for chunk in in_chunks(sorted(materials), CHUNK):
        pairs = CostPool.objects.filter(material__in=chunk).values_list("material_id", "owner_id").distinct()
        held.update(pairs)
    for line in lines:
        is_known_vessel = line.container is not None and line.container.pk is not None
        has_been_held = line.material is not None and (line.material.pk, line.owner.pk) in held
        line.is_seen = line.key() in seen or (is_known_vessel and has_been_held)
