"""What taking a list of spans or of crew-days did, as JSON."""

from typing import Any

from jobs.services.schedule import ScheduleImport
from jobs.services.spans import SpanImport


def span_import_json(answer: SpanImport) -> dict[str, Any]:
    """The whole answer; `split_from` names the span of which an added one is a part."""
    difference = answer.difference
    split = {name: span.name for name, span in difference.split.items()}
    return {
        "job": answer.job_reference,
        "is_job_new": answer.is_job_new,
        "is_stored": answer.is_stored,
        "spans": answer.span_count,
        "runs": answer.run_count,
        "length": {"value": f"{answer.length_m:.6f}", "unit": "m"},
        "added": [
            {"span": listed.name, "run": listed.run, "split_from": split.get(listed.name)}
            for listed in difference.added
        ],
        "changed": [
            {"span": change.span.name, "changes": list(change.sentences)} for change in difference.changed
        ],
        "withdrawn": [span.name for span in difference.withdrawn],
        "unchanged": difference.unchanged_count,
        "changed_days": [{"date": day.isoformat(), "crew": crew} for day, crew in answer.changed_days],
        "ignored_columns": list(answer.ignored_headers),
    }


def schedule_import_json(answer: ScheduleImport) -> dict[str, Any]:
    """The whole answer."""
    return {
        "days": answer.days,
        "steps": answer.steps,
        "done_steps": answer.done_steps,
        "new_crews": list(answer.new_crews),
        "first_date": answer.first_date.isoformat(),
        "last_date": answer.last_date.isoformat(),
        "ignored_columns": list(answer.ignored_headers),
        "warnings": list(answer.warnings),
    }
