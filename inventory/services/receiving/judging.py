"""Which of the goods that came are what was ordered, and which are held back."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from inventory.errors import BadInput, Fault
from inventory.models import Container, Material, Order, OrderLine, Party, ReceivedLine
from inventory.queries.order_progress import find_progress
from inventory.services.lines import quantity_of
from inventory.services.posting import End
from inventory.units import Amount, from_millionths

Finding = ReceivedLine.Finding
# A drum or reel is taken or held back whole. One that brings this much more than is awaited is still what
# was ordered: reels are seldom cut to the foot (common practice, no source).
WHOLE_CONTAINER_TOLERANCE = Fraction(5, 100)
# Marks on a jacket may understate the true length by up to this share, so a stated length is doubted only
# where the marks lack more.
MARKS_TOLERANCE = Fraction(1, 100)


@dataclass(frozen=True)
class ArrivedLine:
    """What came of a material, and where it was to go; `finding` is what was seen on unloading.

    A new container comes with the line. `unit_cost` is the price on the delivery note, where it has one.
    """

    material: Material
    amount: Amount
    target: End
    order_line: OrderLine | None = None
    finding: str = Finding.SOUND
    unit_cost: int | None = None
    lot: Container | None = None
    note: str = ""


@dataclass(frozen=True)
class Judged:
    """A line, or a part of one, with its quantity and what was found of it."""

    line: ArrivedLine
    quantity: int
    finding: str

    @property
    def is_sound(self) -> bool:
        return self.finding == Finding.SOUND

    @property
    def unit_cost(self) -> int:
        """What a unit goes into stock at: nothing as long as it is held back."""
        if not self.is_sound:
            return 0
        if self.line.unit_cost is not None:
            return self.line.unit_cost
        assert self.line.order_line is not None
        return self.line.order_line.unit_cost


def judge_lines(lines: Sequence[ArrivedLine], supplier: Party) -> list[Judged]:
    """Compare what came with what is awaited; what is more is parted from it. Orders are locked."""
    _check(lines, supplier)
    # Read anew under the lock: since the caller read them, some of it may have come or been called off.
    ordered = OrderLine.objects.filter(pk__in={line.order_line.pk for line in lines if line.order_line})
    left = {pk: progress.awaited for pk, progress in find_progress(list(ordered)).items()}
    judged: list[Judged] = []
    for number, line in enumerate(lines):
        quantity = quantity_of(line.amount, line.material, pointer=f"/lines/{number}/amount")
        assert isinstance(quantity, int)
        finding = _finding_of(line)
        if finding != Finding.SOUND:
            judged.append(Judged(line, quantity, finding))
            continue
        assert line.order_line is not None
        parts = _part(line, quantity, left[line.order_line.pk])
        left[line.order_line.pk] -= sum(part.quantity for part in parts if part.is_sound)
        judged += parts
    return judged


def _finding_of(line: ArrivedLine) -> str:
    """What was seen wins; else what the goods themselves show beside the order."""
    if line.finding != Finding.SOUND:
        return line.finding
    if line.order_line is None:
        return Finding.UNORDERED
    if line.order_line.material_id != line.material.pk:
        return Finding.WRONG
    return Finding.SHORT if _is_reel_short(line.target.container) else Finding.SOUND


def _is_reel_short(reel: Container | None) -> bool:
    """Whether the marks on the jacket show less than the length that is stated."""
    if reel is None or reel.stated_length is None or reel.outer_mark is None or reel.inner_mark is None:
        return False
    marked = abs(reel.outer_mark - reel.inner_mark)
    return marked < reel.stated_length * (1 - MARKS_TOLERANCE)


def _part(line: ArrivedLine, quantity: int, awaited: int) -> list[Judged]:
    awaited = max(0, awaited)
    if quantity <= awaited:
        return [Judged(line, quantity, Finding.SOUND)]
    if line.target.container is not None:
        is_near = awaited > 0 and quantity <= awaited * (1 + WHOLE_CONTAINER_TOLERANCE)
        return [Judged(line, quantity, Finding.SOUND if is_near else Finding.OVER)]
    more = Judged(_with_amount(line, quantity - awaited), quantity - awaited, Finding.OVER)
    if not awaited:
        return [more]
    return [Judged(_with_amount(line, awaited), awaited, Finding.SOUND), more]


def _with_amount(line: ArrivedLine, quantity: int) -> ArrivedLine:
    unit = line.material.stock_unit
    return replace(line, amount=Amount(from_millionths(quantity, unit), unit))


def _check(lines: Sequence[ArrivedLine], supplier: Party) -> None:
    faults = []
    for number, line in enumerate(lines):
        pointer = f"/lines/{number}"
        order = line.order_line.order if line.order_line is not None else None
        if order is not None and order.supplier_id != supplier.pk:
            message = f"is of an order to another supplier than {supplier.name}"
            faults.append(Fault(f"{pointer}/order", order.reference, message))
        if line.finding not in Finding.values:
            message = f"is none of: {', '.join(Finding.values)}"
            faults.append(Fault(f"{pointer}/finding", line.finding, message))
        if line.unit_cost is not None and line.unit_cost < 0:
            faults.append(Fault(f"{pointer}/unit_cost", str(line.unit_cost), "cannot be less than nothing"))
        container = line.target.container
        if container is not None and not container.owner.is_company:
            message = f"belongs to {container.owner.name}; goods that are bought are the company's"
            faults.append(Fault(f"{pointer}/target/container", container.label, message))
    if faults:
        raise BadInput.of(faults)


def orders_of(lines: Sequence[ArrivedLine]) -> list[Order]:
    """The orders that lines name, locked in the order of their keys."""
    keys = {line.order_line.order_id for line in lines if line.order_line is not None}
    return list(Order.objects.select_for_update().filter(pk__in=keys).order_by("pk")) if keys else []
