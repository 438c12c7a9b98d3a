"""The same work told twice, by two devices, two crews or within one report.

A jacket's marks and a meter's count pass only once. What was told before is kept as it was read and not
booked again: of marks and of a meter only what nobody told before counts, mostly nothing. A meter that began
twice where it had begun was set back in between: then both are booked, and found. A cleaning is the same
where another device tells the same numbers that day; where only as many were fired it may be another, so
both are booked, and found.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import chain
from typing import TYPE_CHECKING, Any, NamedTuple

from inventory.queries.company import get_company
from inventory.queries.instruments import trust_instruments
from inventory.services.measuring import measure_metered
from inventory.services.posting.rows import Select, one_of
from inventory.units import convert, from_millionths
from jobs.models import RunBlowing, SpanAttempt
from jobs.queries.projectiles import ToldCleaning, find_told_before

if TYPE_CHECKING:
    from jobs.services.reports.rows import Told

_BEFORE = (
    "NOT report.is_undone AND (report.occurred_at < %s OR (report.occurred_at = %s AND report.uuid < %s))"
)

_Part = tuple[str, list[Any]]


def select_repeats(told: "Told") -> list[Select]:
    """Ask what other reports told before of the same reels, of that day's meters and cleanings, and which
    spans came out.
    """
    stretches = [
        *_select_marks(told),
        *_select_meters(told),
        *_select_out(told),
    ]
    found = []
    if stretches:
        values = [value for _sql, values in stretches for value in values]
        found.append(Select(" UNION ALL ".join(sql for sql, _values in stretches), values))
    return [*found, *_select_cleanings(told)]


def _before(told: "Told") -> tuple[Any, ...]:
    report = told.report
    return report.occurred_at, report.occurred_at, report.uuid


def _select_marks(told: "Told") -> Iterator[_Part]:
    reels = sorted({row.reel_id for row in told.blowings if row.reel_id is not None and _has_marks(row)})
    if reels:
        sql = (
            "SELECT 'marks' AS kind, blowing.reel_id AS one, 0 AS other, blowing.mark_start AS first,"
            " blowing.mark_end AS last, blowing.mark_unit AS unit FROM jobs_runblowing blowing"
            " JOIN jobs_fieldreport report ON report.id = blowing.report_id"
            f" WHERE blowing.reel_id IN {one_of(reels)} AND blowing.mark_start IS NOT NULL"
            f" AND blowing.mark_end IS NOT NULL AND {_BEFORE}"
        )
        yield sql, [*reels, *_before(told)]


def _select_meters(told: "Told") -> Iterator[_Part]:
    """Of the crew whatever it metered that day; of other crews what they metered with the same meters."""
    report = told.report
    metered = [row for row in told.attempts if _is_metered(row)]
    if not metered:
        return
    found = (
        "SELECT 'meter' AS kind, COALESCE(attempt.meter_id, 0) AS one, attempt.span_id AS other,"
        " attempt.meter_start AS first, attempt.meter_end AS last, attempt.meter_unit AS unit"
        " FROM jobs_spanattempt attempt JOIN jobs_fieldreport report ON report.id = attempt.report_id"
    )
    told_it = f"attempt.meter_start IS NOT NULL AND attempt.meter_end > attempt.meter_start AND {_BEFORE}"
    yield f"{found} WHERE report.crew_day_id = %s AND {told_it}", [report.crew_day_id, *_before(told)]
    meters = sorted({row.meter_id for row in metered if row.meter_id is not None})
    if meters:
        others = (
            f"{found} JOIN jobs_crewday day ON day.id = report.crew_day_id"
            f" WHERE attempt.meter_id IN {one_of(meters)} AND day.date = %s AND day.id <> %s AND {told_it}"
        )
        yield others, [*meters, report.crew_day.date, report.crew_day_id, *_before(told)]


def _select_out(told: "Told") -> Iterator[_Part]:
    spans = sorted({row.span_id for row in told.attempts if _brings_out(row)})
    if spans:
        sql = (
            "SELECT 'out' AS kind, attempt.span_id AS one, 0 AS other, 0 AS first, 0 AS last, '' AS unit"
            " FROM jobs_spanattempt attempt JOIN jobs_fieldreport report ON report.id = attempt.report_id"
            f" WHERE attempt.span_id IN {one_of(spans)} AND attempt.outcome = %s AND {_BEFORE}"
        )
        yield sql, [*spans, SpanAttempt.Outcome.ALL_OUT.value, *_before(told)]


def _select_cleanings(told: "Told") -> Iterator[Select]:
    report = told.report
    runs = sorted({row.run_id for row in told.cleanings if row.fired or row.retrieved})
    if runs:
        yield Select(
            "SELECT 'cleaned', cleaning.run_id, report.occurred_at, fired, retrieved, stuck_at_um, is_clean,"
            " report.crew_day_id, report.device, report.by_id FROM jobs_runcleaning cleaning"
            " JOIN jobs_fieldreport report ON report.id = cleaning.report_id"
            f" WHERE report.crew_day_id = %s AND cleaning.run_id IN {one_of(runs)} AND {_BEFORE}"
            " ORDER BY report.occurred_at, report.uuid, cleaning.position",
            [report.crew_day_id, *runs, *_before(told)],
        )


def see_repeats(told: "Told", answers: Sequence[Sequence[tuple[Any, ...]]]) -> None:
    """Note what of a report was told before, of the answers to `select_repeats`.

    What a meter counted is set to what nobody told before, also where a report that told of it was undone
    since; what it showed stays.
    """
    rows: dict[str, list[tuple[Any, ...]]] = {}
    for kind, *row in chain.from_iterable(answers):
        rows.setdefault(kind, []).append(tuple(row))
    _see_marks(told, rows.get("marks", []))
    _see_meters(told, rows.get("meter", []))
    _see_cleanings(told, rows.get("cleaned", []))
    out = {row[0] for row in rows.get("out", [])}
    for number, attempt in enumerate(told.attempts):
        if _brings_out(attempt):
            if attempt.span_id in out and attempt.injected:
                told.out_before.add(number)
            out.add(attempt.span_id)


def _see_marks(told: "Told", before: list[tuple[Any, ...]]) -> None:
    for number, row in enumerate(told.blowings):
        if row.reel_id is None or not _has_marks(row):
            continue
        others = [(first, last, unit) for reel, _other, first, last, unit in before if reel == row.reel_id]
        share = _share_told(row.mark_start, row.mark_end, row.mark_unit, others)
        if share:
            told.marks_told_before[number] = share
        before.append((row.reel_id, 0, row.mark_start, row.mark_end, row.mark_unit))


def _see_meters(told: "Told", before: list[tuple[Any, ...]]) -> None:
    for number, row in enumerate(told.attempts):
        if not _is_metered(row):
            continue
        alike = [_Stretch(*other) for other in before if _is_same_meter(row, *other[:2])]
        others = [each for each in alike if not _was_set_back(row, each)]
        if len(others) < len(alike):
            told.meters_set_back.add(number)
        stretches = [(each.first, each.last, each.unit) for each in others]
        share = _share_told(row.meter_start, row.meter_end, row.meter_unit, stretches)
        if share:
            told.meters_told_before[number] = share
        if share or row.pk:
            _count_once(told, row, share)
        before.append((row.meter_id or 0, row.span_id, row.meter_start, row.meter_end, row.meter_unit))


def _see_cleanings(told: "Told", before: list[tuple[Any, ...]]) -> None:
    """Which cleanings were told before, and which look like one that was and may be another."""
    report = told.report
    teller = (report.device, report.by_id)
    for run in {row.run_id for row in told.cleanings}:
        rows = [ToldCleaning._make((*row, (device, by))) for key, *row, device, by in before if key == run]
        own = [(number, row) for number, row in enumerate(told.cleanings) if row.run_id == run]
        first = len(rows)
        rows += [
            ToldCleaning(
                report.occurred_at, row.fired, row.retrieved, row.stuck_at_um, row.is_clean,
                report.crew_day_id, teller,
            )
            for _number, row in own
        ]  # fmt: skip
        repeated = find_told_before(rows)
        for position, (number, row) in enumerate(own, first):
            others = [each for each in rows[:position] if row.fired and each.fired == row.fired]
            if position in repeated:
                told.fired_before.add(number)
            elif any(each.teller != teller for each in others) or rows[position] in rows[first:position]:
                told.fired_alike.add(number)


def _has_marks(row: RunBlowing) -> bool:
    return row.mark_start is not None and row.mark_end is not None and row.mark_start != row.mark_end


def _is_metered(row: SpanAttempt) -> bool:
    """Whether the amount is what a meter counted; one that ran backwards tells none."""
    if row.meter_start is None or row.meter_end is None or row.injected is None:
        return False
    return row.meter_end > row.meter_start


def _brings_out(row: SpanAttempt) -> bool:
    """Whether a span came all out by it, as only once it can; what a meter counted speaks for itself."""
    return row.outcome == SpanAttempt.Outcome.ALL_OUT and not _is_metered(row)


class _Stretch(NamedTuple):
    """What a meter showed before and after, at a span, in millionths of its unit."""

    meter: int
    span: int
    first: int
    last: int
    unit: str


def _was_set_back(row: SpanAttempt, other: _Stretch) -> bool:
    """Whether a meter began twice at the same reading, as it cannot but by being set back.

    The same stretch of the same span is rather the same told twice, and so is one of another span unless it
    began at nothing; at one span it must have begun at nothing, else one telling only goes on where the other
    left off.
    """
    assert row.meter_start is not None
    assert row.meter_end is not None
    first, last = (round(convert(mark, other.unit, row.meter_unit)) for mark in (other.first, other.last))
    if first != row.meter_start:
        return False
    is_same_span = other.span == row.span_id
    if last == row.meter_end:
        return not is_same_span and not first
    return not is_same_span or not first


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
