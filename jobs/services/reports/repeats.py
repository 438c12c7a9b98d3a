"""The same work told twice, by two devices: the same marks of a reel, the same stretch of a meter.

A jacket's marks and a meter's count pass only once. What another standing report told before is kept as it
was read and not booked again: of marks and of a meter only what nobody told before counts, mostly nothing.
Three projectiles may well have been fired twice, so of them a rule only warns.
"""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from inventory.queries.company import get_company
from inventory.queries.instruments import trust_instruments
from inventory.services.measuring import measure_metered
from inventory.services.posting.rows import Select, one_of
from inventory.units import convert, from_millionths
from jobs.models import RunBlowing, SpanAttempt

if TYPE_CHECKING:
    from jobs.services.reports.rows import Told

_BEFORE = (
    "NOT report.is_undone AND (report.occurred_at < %s OR (report.occurred_at = %s AND report.uuid < %s))"
)


def select_repeats(told: "Told") -> Select | None:
    """Ask what other reports told before of the same reels, and that day of the same meters and runs."""
    report = told.report
    before = (report.occurred_at, report.occurred_at, report.uuid)
    parts: list[str] = []
    values: list[Any] = []
    reels = sorted({row.reel_id for row in told.blowings if row.reel_id is not None and _has_marks(row)})
    if reels:
        parts.append(
            "SELECT 'marks' AS kind, blowing.reel_id AS one, 0 AS other, blowing.mark_start AS first,"
            " blowing.mark_end AS last, blowing.mark_unit AS unit FROM jobs_runblowing blowing"
            " JOIN jobs_fieldreport report ON report.id = blowing.report_id"
            f" WHERE blowing.reel_id IN {one_of(reels)} AND blowing.mark_start IS NOT NULL"
            f" AND blowing.mark_end IS NOT NULL AND {_BEFORE}"
        )
        values += [*reels, *before]
    if any(_is_metered(row) for row in told.attempts):
        parts.append(
            "SELECT 'meter', COALESCE(attempt.meter_id, 0), attempt.span_id, attempt.meter_start,"
            " attempt.meter_end, attempt.meter_unit FROM jobs_spanattempt attempt"
            " JOIN jobs_fieldreport report ON report.id = attempt.report_id"
            " WHERE report.crew_day_id = %s AND attempt.meter_start IS NOT NULL"
            f" AND attempt.meter_end > attempt.meter_start AND {_BEFORE}"
        )
        values += [report.crew_day_id, *before]
    runs = sorted({row.run_id for row in told.cleanings if row.fired})
    if runs:
        parts.append(
            "SELECT 'fired', cleaning.run_id, 0, cleaning.fired, 0, '' FROM jobs_runcleaning cleaning"
            " JOIN jobs_fieldreport report ON report.id = cleaning.report_id"
            f" WHERE report.crew_day_id = %s AND cleaning.run_id IN {one_of(runs)} AND cleaning.fired > 0"
            f" AND (report.device <> %s OR report.by_id <> %s) AND {_BEFORE}"
        )
        values += [report.crew_day_id, *runs, report.device, report.by_id, *before]
    return Select(" UNION ALL ".join(parts), values) if parts else None


def see_repeats(told: "Told", rows: Sequence[tuple[Any, ...]]) -> None:
    """Note what of a report was told before, of the answer to `select_repeats`.

    What a meter counted is set to what nobody told before, also where a report that told of it was undone
    since; what it showed stays.
    """
    for number, blowing in enumerate(told.blowings):
        if blowing.reel_id is not None and _has_marks(blowing):
            others = [
                (first, last, unit)
                for kind, reel, _other, first, last, unit in rows
                if kind == "marks" and reel == blowing.reel_id
            ]
            share = _share_told(blowing.mark_start, blowing.mark_end, blowing.mark_unit, others)
            if share:
                told.marks_told_before[number] = share
    for number, attempt in enumerate(told.attempts):
        if _is_metered(attempt):
            others = [
                (first, last, unit)
                for kind, meter, span, first, last, unit in rows
                if kind == "meter" and _is_same_meter(attempt, meter, span)
            ]
            share = _share_told(attempt.meter_start, attempt.meter_end, attempt.meter_unit, others)
            if share:
                told.meters_told_before[number] = share
            if share or attempt.pk:
                _count_once(told, attempt, share)
    fired = {(run, count) for kind, run, _other, count, _last, _unit in rows if kind == "fired"}
    told.fired_before = {
        number for number, row in enumerate(told.cleanings) if (row.run_id, row.fired) in fired
    }


def _has_marks(row: RunBlowing) -> bool:
    return row.mark_start is not None and row.mark_end is not None and row.mark_start != row.mark_end


def _is_metered(row: SpanAttempt) -> bool:
    """Whether the amount is what a meter counted; one that ran backwards tells none."""
    if row.meter_start is None or row.meter_end is None or row.injected is None:
        return False
    return row.meter_end > row.meter_start


def _is_same_meter(attempt: SpanAttempt, meter: int, span: int) -> bool:
    """The same by its tag; where one of the two names none, the one at that span."""
    if meter and attempt.meter_id:
        return meter == attempt.meter_id
    return span == attempt.span_id


def _share_told(
    first: int | None, last: int | None, unit: str, others: Iterable[tuple[int, int, str]]
) -> Fraction:
    """Which share of a stretch others cover, together."""
    assert first is not None
    assert last is not None
    low, high = min(first, last), max(first, last)
    covered: list[tuple[Fraction, Fraction]] = []
    for start, end, other_unit in others:
        ends = sorted(Fraction(convert(mark, other_unit, unit)) for mark in (start, end))
        found = (max(ends[0], Fraction(low)), min(ends[1], Fraction(high)))
        # Read in another unit and kept to a millionth, what only meets may overlap by that.
        if found[1] - found[0] > 1:
            covered.append(found)
    share, reached = Fraction(0), Fraction(low)
    for begin, finish in sorted(covered):
        share += max(finish - max(begin, reached), Fraction(0))
        reached = max(reached, finish)
    return share / (high - low)


def _count_once(told: "Told", row: SpanAttempt, share: Fraction) -> None:
    assert row.fluid is not None
    assert row.meter_start is not None
    assert row.meter_end is not None
    if row.pk:
        # As it was kept, something may be off it that no other report tells of any more.
        instruments = [row.meter] if row.meter is not None else []
        trusted = trust_instruments(instruments, on_date=told.report.crew_day.date)
        whole = measure_metered(
            material=row.fluid,
            start=str(from_millionths(row.meter_start, row.meter_unit)),
            end=str(from_millionths(row.meter_end, row.meter_unit)),
            unit=row.meter_unit,
            reference_temperature_c=get_company().reference_temperature_c,
            temperature_c=row.temperature_c,
            instrument=trusted.get(row.meter_id or 0),
        )
        amount, uncertainty = whole.amount, whole.standard_uncertainty
    else:
        assert row.injected is not None
        amount, uncertainty = row.injected, row.injected_uncertainty or 0.0
    left = round(amount * (1 - share))
    if left == row.injected:
        return
    row.injected, row.injected_uncertainty = left, float(1 - share) * uncertainty
    # A row that was kept in one message with others does not know its key.
    kept = SpanAttempt.objects.filter(report=told.report, position=row.position)
    kept.update(injected=row.injected, injected_uncertainty=row.injected_uncertainty)
