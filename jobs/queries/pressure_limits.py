"""Which pressures safety has approved. Where none stands, the answer is "no limit approved", never "ok"."""

from jobs.models import CrewDayStep, PressureLimit

Purpose = PressureLimit.Purpose
NO_LIMIT = "no limit approved"
PURPOSE_OF_STEP: dict[str, str] = {
    CrewDayStep.Kind.EXTRACT: Purpose.EXTRACTION,
    CrewDayStep.Kind.CLEAN: Purpose.AIR_CLEANING,
    CrewDayStep.Kind.BLOW: Purpose.BLOWING,
}


def find_standing_limits() -> dict[str, PressureLimit]:
    """The limits that hold now, by purpose; a purpose without one has no limit approved."""
    return {row.purpose: row for row in PressureLimit.objects.filter(withdrawn_at__isnull=True)}
