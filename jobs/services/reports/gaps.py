"""What a report leaves open: taken as what is likeliest, or kept as it was told until somebody settles it."""

from dataclasses import dataclass

from inventory.models import Container
from jobs.models import FieldReport, Run, Span


@dataclass(frozen=True)
class Gap:
    """One thing that was told less than the book needs; a rule finds it, whoever reads that settles it.

    `told` is what was told, `reason` what was assumed or what is lacking and how to remedy it. Where
    `is_booked` is False nothing was booked of it.
    """

    told: str
    reason: str
    is_booked: bool
    span: Span | None = None
    run: Run | None = None
    container: Container | None = None
    # Where it is about nothing on record: what it is about, in words.
    named: str = ""

    @property
    def where(self) -> str:
        """What it is about, as a sentence begins with it."""
        if self.span is not None:
            return f"Span {self.span.name}"
        if self.run is not None:
            return f"Run {self.run.name}"
        return str(self.container) if self.container is not None else self.named


def note_in_report(report: FieldReport, remark: str) -> None:
    """Keep behind a report's note what has no row of its own."""
    report.note = f"{report.note} [{remark}]".strip()
    if report.pk:
        # Where spans were split, the report was kept before.
        report.save(update_fields=["note"])
