"""Count sheets: made from what is due, filled in by counters, posted as one stock-taking or dropped."""

from collections.abc import Collection, Mapping
from datetime import datetime
from uuid import UUID

from django.db import transaction

from inventory.errors import BadInput, Fault, SpanstockError
from inventory.models import (
    Actor,
    CountPlan,
    CountSheet,
    CountSheetLine,
    Holding,
    LineCount,
    Material,
    Place,
)
from inventory.queries.company import get_today
from inventory.queries.count_due import DueCount, find_costs_of_materials, list_due_counts
from inventory.queries.holdings import list_bins
from inventory.services.counting.judging import find_accepted, is_beyond_limits
from inventory.services.counting.plans import USUAL_RULES
from inventory.services.counts import Found, count
from inventory.services.documents import DocumentConflict, fingerprint_of, step_id, take_once
from inventory.services.lines import require_kind
from inventory.services.posting import End
from inventory.units import Amount, format_millionths, from_millionths

MOST_LINES = 500
State = CountSheet.State


class NothingToCount(SpanstockError):
    """Nothing is due, or nothing of what was asked for lies there."""

    code = "nothing_to_count"


class SheetNotCounted(SpanstockError):
    """Lines of the sheet were not counted yet, or wait for a second count by another person."""

    code = "sheet_not_counted"


class SheetClosed(SpanstockError):
    """The sheet was posted or dropped."""

    code = "sheet_closed"


def make_count_sheet(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    place: Place,
    materials: Collection[Material] = (),
    most: int = MOST_LINES,
    note: str = "",
) -> CountSheet:
    """Make a sheet of what is due by the place's plan, or of all that lies there of some materials.

    A place may be a bin. The sheet tells nothing of what the book says. The same again gives the first one.
    """
    fingerprint = fingerprint_of(
        place=place, materials=sorted(row.pk for row in materials), most=most, note=note
    )

    def make() -> CountSheet:
        require_kind(place, Place.STOCK_KINDS, pointer="/place")
        if not 1 <= most <= MOST_LINES:
            raise BadInput.of([Fault("/most", str(most), f"must be 1 to {MOST_LINES}")])
        rows = _choose(place, materials)[:most]
        if not rows:
            raise NothingToCount(f"In {place} nothing is due to be counted. Name materials to count them.")
        sheet = CountSheet.objects.create(
            uuid=id,
            # Unique until the row has a number of its own.
            reference=id.hex,
            place=place,
            made_at=occurred_at,
            made_by=by,
            note=note,
            fingerprint=fingerprint,
        )
        sheet.reference = f"C-{sheet.pk:05d}"
        sheet.save(update_fields=["reference"])
        for position, row in enumerate(rows, start=1):
            row.sheet, row.position = sheet, position
        CountSheetLine.objects.bulk_create(rows)
        return sheet

    return take_once(CountSheet, id=id, by=by, author="made_by", fingerprint=fingerprint, make=make)


def _choose(place: Place, materials: Collection[Material]) -> list[CountSheetLine]:
    """The lines of a sheet in the order of the shelves."""
    inside = list_bins(place)
    due = find_due_in(place)
    if not materials:
        today = get_today()
        wanted = [row.holding for row in due.values() if row.due_date is not None and row.due_date <= today]
        wanted = [row for row in wanted if row.place_id in inside]
    else:
        wanted = list(
            Holding.objects.filter(place__in=inside, material__in=materials, quantity__gt=0).select_related(
                "place", "material", "owner", "container"
            )
        )
    lines = []
    for holding in wanted:
        known = due.get(holding.key)
        usual = USUAL_RULES[-1]
        lines.append(
            CountSheetLine(
                place=holding.place,
                material=holding.material,
                owner=holding.owner,
                container=holding.container,
                count_class=known.count_class if known else "",
                limit_share=known.rule.limit_share if known else usual.limit_share,
                limit_value=known.rule.limit_value if known else usual.limit_value,
            )
        )
    return sorted(
        lines,
        key=lambda row: (row.place.code, row.material.code, row.container.label if row.container else ""),
    )


def find_due_in(place: Place) -> dict[str, DueCount]:
    """What the plan of the place's warehouse says of each holding, by its key; nothing without a plan."""
    top = place
    while top.kind == Place.Kind.BIN and top.parent is not None:
        top = top.parent
    plan = CountPlan.objects.filter(place=top).select_related("place").first()
    return {row.holding.key: row for row in list_due_counts(plan, as_of=get_today())} if plan else {}


def find_standing_of(
    sheets: Collection[CountSheet],
) -> dict[int, list[tuple[CountSheetLine, list[LineCount], LineCount | None]]]:
    """The lines of each sheet with their counts and the one that stands, by the sheet's key.

    Once a sheet is posted the last count stands, whatever goods cost by then.
    """
    posted = {sheet.pk for sheet in sheets if sheet.state == State.POSTED}
    rows = (
        CountSheetLine.objects.filter(sheet__in=[sheet.pk for sheet in sheets])
        .select_related("material", "place", "owner", "container", "entry")
        .prefetch_related("counts__by")
    )
    costs = find_costs_of_materials({line.material_id for line in rows})
    found: dict[int, list[tuple[CountSheetLine, list[LineCount], LineCount | None]]] = {
        sheet.pk: [] for sheet in sheets
    }
    for line in rows:
        counts = list(line.counts.all())
        accepted = find_accepted(line, counts, unit_cost=costs.get(line.material_id, 0))
        if accepted is None and counts and line.sheet_id in posted:
            accepted = counts[-1]
        found[line.sheet_id].append((line, counts, accepted))
    return found


def find_standing(sheet: CountSheet) -> dict[int, LineCount | None]:
    """The count that stands of each line, by its position; None where one is still needed."""
    lines = list(sheet.lines.select_related("material").prefetch_related("counts"))
    costs = find_costs_of_materials({line.material_id for line in lines})
    return {
        line.position: find_accepted(line, list(line.counts.all()), unit_cost=costs.get(line.material_id, 0))
        for line in lines
    }


def list_lines_to_count(sheet: CountSheet) -> list[CountSheetLine]:
    """The lines that still need a count, in the order of the sheet; none of a sheet that is closed."""
    if sheet.state != State.OPEN:
        return []
    return [line for line, _counts, accepted in find_standing_of([sheet])[sheet.pk] if accepted is None]


@transaction.atomic
def post_count_sheet(
    *, sheet: CountSheet, by: Actor, occurred_at: datetime, reasons: Mapping[int, str] | None = None
) -> CountSheet:
    """Post what was found; each difference beyond its limits needs a reason, by the line's position.

    Every line is counted as of the moment at which it was. The same again gives the same sheet.

    Raises
    ------
    SheetNotCounted
        If a line waits for a count; it is named.
    BadInput
        If a difference has no reason.
    """
    given = {position: text.strip() for position, text in (reasons or {}).items()}
    fingerprint = fingerprint_of(reasons={str(position): text for position, text in given.items()})
    standing = CountSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if standing.state == State.POSTED and standing.posted_fingerprint == fingerprint:
        return standing
    if standing.state == State.POSTED:
        raise DocumentConflict(
            f"{standing} was posted with other reasons. Reverse its entries to correct it."
        )
    _require_open(standing)
    lines = list(
        standing.lines.select_related("material", "place", "owner", "container__owner").prefetch_related(
            "counts"
        )
    )
    accepted = _accept(lines, given)
    grouped: dict[tuple[datetime, str], list[CountSheetLine]] = {}
    for line in lines:
        line.reason = given.get(line.position, "")
        grouped.setdefault((accepted[line.position].counted_at, line.reason), []).append(line)
    for (counted_at, reason), rows in grouped.items():
        entry = count(
            id=step_id(standing.uuid, f"{counted_at.isoformat()} {reason}"),
            by=by,
            occurred_at=counted_at,
            found=[_found(line, accepted[line.position]) for line in rows],
            reason=reason,
            document=f"count-sheet:{standing.uuid}",
        )
        for line in rows:
            line.entry = entry
    CountSheetLine.objects.bulk_update(lines, ["reason", "entry"])
    _close(standing, State.POSTED, by, occurred_at)
    standing.posted_fingerprint = fingerprint
    standing.save(update_fields=["posted_fingerprint"])
    return standing


@transaction.atomic
def drop_count_sheet(*, sheet: CountSheet, by: Actor, occurred_at: datetime) -> CountSheet:
    """Give a sheet up; nothing of it reaches the book. Again, it changes nothing."""
    standing = CountSheet.objects.select_for_update(of=("self",)).get(pk=sheet.pk)
    if standing.state != State.DROPPED:
        _require_open(standing)
        _close(standing, State.DROPPED, by, occurred_at)
    return standing


def _close(sheet: CountSheet, state: str, by: Actor, moment: datetime) -> None:
    sheet.state, sheet.closed_at, sheet.closed_by = state, moment, by
    sheet.save(update_fields=["state", "closed_at", "closed_by"])


def _require_open(sheet: CountSheet) -> None:
    if sheet.state != State.OPEN:
        raise SheetClosed(f"{sheet} was {sheet.get_state_display()}; make another one.")


def _accept(lines: list[CountSheetLine], reasons: Mapping[int, str]) -> dict[int, LineCount]:
    costs = find_costs_of_materials({line.material_id for line in lines})
    accepted, waiting, faults = {}, [], []
    for line in lines:
        unit_cost = costs.get(line.material_id, 0)
        found = find_accepted(line, list(line.counts.all()), unit_cost=unit_cost)
        if found is None:
            waiting.append(str(line.position))
            continue
        accepted[line.position] = found
        if is_beyond_limits(line, found, unit_cost=unit_cost) and not reasons.get(line.position):
            difference = format_millionths(found.quantity - found.book_quantity, line.material.stock_unit)
            message = f"is needed: {line.material} differs by {difference}"
            faults.append(Fault(f"/reasons/{line.position}", "", message))
    unknown = set(reasons) - {line.position for line in lines}
    faults += [Fault(f"/reasons/{position}", "", "is no line of this sheet") for position in sorted(unknown)]
    if waiting:
        raise SheetNotCounted(f"Still to be counted: line {', '.join(waiting)}. Nothing was posted.")
    if faults:
        raise BadInput.of(faults)
    return accepted


def _found(line: CountSheetLine, accepted: LineCount) -> Found:
    unit = line.material.stock_unit
    amount = Amount(from_millionths(accepted.quantity, unit), unit)
    return Found(line.material, amount, End(line.place, line.container), line.owner)
