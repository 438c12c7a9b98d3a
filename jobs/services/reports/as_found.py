"""Sizes, lengths and splices as crews found them, beside the design: the last that was told holds."""

from collections.abc import Iterable

from django.db.models import Q

from jobs.models import CableSize, FieldReport, Span, SpanAttempt
from jobs.services.needs import find_days_ahead, write_needs
from jobs.services.reports.rows import Told

# Size, length in micrometres, hidden splices.
Found = tuple[CableSize | None, int | None, int | None]
NOTHING: Found = (None, None, None)


def note_as_found(span_keys: Iterable[int]) -> None:
    """Write to spans what was found of them, as the last standing report that tells of it has it.

    Kits of days ahead are planned anew with that at once.
    """
    keys = set(span_keys)
    found = _find_as_found(keys)
    changed: list[Span] = []
    for span in Span.objects.filter(pk__in=keys).select_related("as_found_size"):
        told = found.get(span.pk, NOTHING)
        if told != (span.as_found_size, span.as_found_length_um, span.hidden_splices):
            span.as_found_size, span.as_found_length_um, span.hidden_splices = told
            changed.append(span)
    if changed:
        Span.objects.bulk_update(changed, ["as_found_size", "as_found_length_um", "hidden_splices"])
        runs = [span.run_id for span in changed]
        write_needs(find_days_ahead(span_keys=[span.pk for span in changed], run_keys=runs))


def see_as_found(told: Told, spans: Iterable[Span]) -> None:
    """Make spans in hand as they were known when a report was made, whatever was found later.

    The shares of a report that is booked again behind a late one are then what they were at first.
    """
    seen = list(spans)
    if not any(tells_as_found(row) for row in told.attempts) and not any(
        span.as_found_size_id or span.as_found_length_um for span in seen
    ):
        return
    found = _find_as_found({span.pk for span in seen}, until=told.report)
    for span in seen:
        span.as_found_size, span.as_found_length_um, span.hidden_splices = found.get(span.pk, NOTHING)


def tells_as_found(attempt: SpanAttempt) -> bool:
    """Whether a try tells anything of the span as it was found."""
    values = (attempt.as_found_size_id, attempt.as_found_length_um, attempt.hidden_splices)
    return any(value is not None for value in values)


def _find_as_found(span_keys: set[int], *, until: FieldReport | None = None) -> dict[int, Found]:
    """By span, the last that was told of size, length and splices, each by itself."""
    rows = SpanAttempt.objects.filter(span__in=span_keys, report__is_undone=False)
    if until is not None:
        rows = rows.filter(
            Q(report__occurred_at__lt=until.occurred_at)
            | Q(report__occurred_at=until.occurred_at, report__uuid__lte=until.uuid)
        )
    rows = rows.select_related("as_found_size")
    found: dict[int, Found] = {}
    for row in rows.order_by("report__occurred_at", "report__uuid", "position"):
        size, length, splices = found.get(row.span_id, NOTHING)
        found[row.span_id] = (
            row.as_found_size or size,
            length if row.as_found_length_um is None else row.as_found_length_um,
            splices if row.hidden_splices is None else row.hidden_splices,
        )
    return found
