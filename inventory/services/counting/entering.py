"""What a counter found of one line: by number, or of a drum by weighing, dipping or eye."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import Actor, Container, CountSheet, CountSheetLine, Holding, Instrument, LineCount
from inventory.queries.company import get_company
from inventory.queries.count_due import find_costs_of_materials
from inventory.queries.instruments import trust_instruments
from inventory.services.counting.judging import find_accepted
from inventory.services.counting.sheets import SheetClosed
from inventory.services.documents import fingerprint_of, take_once
from inventory.services.lines import stored_quantity
from inventory.services.measuring import Method, measure
from inventory.services.posting.book import find_effects_after
from inventory.services.posting.keys import HeadKey, HoldingKey
from inventory.units import Amount

COUNTED = "counted"


class AnotherMustCount(SpanstockError):
    """A second count is another person's: whoever counted last would find the same again."""

    code = "another_must_count"


class AlreadyCounted(SpanstockError):
    """The line was counted and needs no other count."""

    code = "already_counted"


@dataclass(frozen=True)
class Finding:
    """What was read: an amount that was counted, or a reading of a fluid by some method."""

    amount: Amount | None = None
    method: str = COUNTED
    temperature_c: float | None = None
    instrument: Instrument | None = None
    note: str = ""


def enter_count(
    *, id: UUID, by: Actor, counted_at: datetime, line: CountSheetLine, finding: Finding
) -> LineCount:
    """Take down what one person found of a line. The same again gives the first answer.

    Raises
    ------
    AnotherMustCount
        If the same person counted it last.
    AlreadyCounted
        If it needs no other count, which tells nothing of whether the book agreed with one or two.
    """
    fingerprint = fingerprint_of(line=line, counted_at=counted_at, finding=vars(finding))

    def make() -> LineCount:
        sheet = CountSheet.objects.select_for_update(of=("self",)).get(pk=line.sheet_id)
        if sheet.state != CountSheet.State.OPEN:
            raise SheetClosed(f"{sheet} was {sheet.get_state_display()}; make another one.")
        counts = list(line.counts.order_by("round"))
        _refuse_needless(line, counts, by)
        return take_down(
            id=id,
            by=by,
            counted_at=counted_at,
            line=line,
            round_number=len(counts) + 1,
            finding=finding,
            fingerprint=fingerprint,
        )

    return take_once(LineCount, id=id, by=by, author="by", fingerprint=fingerprint, make=make)


def take_down(
    *,
    id: UUID,
    by: Actor,
    counted_at: datetime,
    line: CountSheetLine,
    round_number: int,
    finding: Finding,
    fingerprint: str,
) -> LineCount:
    """Store what was found of a line beside what the book said of that moment."""
    quantity, uncertainty = _read(line, finding, counted_at)
    return LineCount.objects.create(
        uuid=id,
        line=line,
        round=round_number,
        by=by,
        counted_at=counted_at,
        quantity=quantity,
        book_quantity=find_book_quantity(line, counted_at),
        standard_uncertainty=uncertainty,
        method=finding.method,
        entered_value=f"{finding.amount.value:f}" if finding.amount else "",
        entered_unit=finding.amount.unit if finding.amount else "",
        note=finding.note,
        fingerprint=fingerprint,
    )


def find_book_quantity(line: CountSheetLine, moment: datetime) -> int:
    """What the book says of the line's holding at a moment; a vessel is followed wherever it stood."""
    container: Container | None = line.container
    held = Holding.objects.filter(material=line.material, owner=line.owner, container=container)
    if container is None or not container.stands_somewhere:
        held = held.filter(place=line.place)
    key = HoldingKey(
        HeadKey(line.place_id, line.material_id, line.owner_id), container.pk if container else 0
    )
    return sum(held.values_list("quantity", flat=True)) - find_effects_after(key, container, moment)


def _refuse_needless(line: CountSheetLine, counts: list[LineCount], by: Actor) -> None:
    if not counts:
        return
    unit_cost = find_costs_of_materials({line.material_id}).get(line.material_id, 0)
    if find_accepted(line, counts, unit_cost=unit_cost) is not None:
        raise AlreadyCounted(f"Line {line.position} was counted and needs no other count.")
    if counts[-1].by_id == by.pk:
        raise AnotherMustCount(f"Line {line.position} waits for a count by somebody else than {by}.")


def _read(line: CountSheetLine, finding: Finding, moment: datetime) -> tuple[int, float]:
    """Millionths of the stock unit, and their standard uncertainty."""
    amount = finding.amount
    if finding.method == COUNTED:
        if amount is None:
            raise BadInput.of(
                [Fault("/amount", "", "is needed: what was found, nothing being a finding too")]
            )
        quantity = stored_quantity(amount, line.material.stock_unit, pointer="/amount")
        if quantity < 0:
            raise BadInput.of([Fault("/amount", str(amount), "cannot be less than nothing")])
        return quantity, 0.0
    if finding.method not in set(Method):
        options = ", ".join([COUNTED, *Method])
        raise BadInput.of([Fault("/method", finding.method, f"is none of: {options}")])
    instrument = finding.instrument
    trusted = trust_instruments([instrument], on_date=moment.date())[instrument.pk] if instrument else None
    measured = measure(
        material=line.material,
        method=finding.method,
        reference_temperature_c=get_company().reference_temperature_c,
        value=amount.value if amount else None,
        unit=amount.unit if amount else "",
        container=line.container,
        temperature_c=finding.temperature_c,
        instrument=trusted,
    )
    return measured.amount, measured.standard_uncertainty
